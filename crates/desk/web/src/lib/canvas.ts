/** A canvas that fills its box, sharp on every screen, drawn at most once a frame. */

export interface Pen {
  readonly context: CanvasRenderingContext2D;
  readonly width: number;
  readonly height: number;
}

/** Svelte action: calls `draw` when its box changes size or `redraw()` is asked; the frame is disposed with the canvas. */
export function sheet(canvas: HTMLCanvasElement, draw: (pen: Pen) => void): { update: (draw: (pen: Pen) => void) => void; destroy: () => void } {
  let frame = 0;
  let now = draw;
  const context = canvas.getContext('2d', { alpha: false });
  function paint(): void {
    frame = 0;
    if (!context) return;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    const scale = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [Math.max(Math.round(width * scale), 1), Math.max(Math.round(height * scale), 1)];
    if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
    context.setTransform(scale, 0, 0, scale, 0, 0);
    now({ context, width, height });
  }
  function ask(): void {
    if (frame === 0) frame = requestAnimationFrame(paint);
  }
  const watch = new ResizeObserver(ask);
  watch.observe(canvas);
  ask();
  return {
    update(next) {
      now = next;
      ask();
    },
    destroy() {
      watch.disconnect();
      cancelAnimationFrame(frame);
    },
  };
}

/** What stays the same from frame to frame, drawn once and copied: drawn anew only when one of `of` or the size changes. */
export class Still {
  private of: readonly unknown[] = [];
  private picture: HTMLCanvasElement | null = null;

  paint({ context, width, height }: Pen, of: readonly unknown[], draw: (pen: Pen) => void): void {
    const scale = context.getTransform().a;
    const all = [scale, width, height, ...of];
    if (!this.picture || all.length !== this.of.length || all.some((one, index) => one !== this.of[index])) {
      const picture = (this.picture = document.createElement('canvas'));
      picture.width = Math.max(Math.round(width * scale), 1);
      picture.height = Math.max(Math.round(height * scale), 1);
      const pen = picture.getContext('2d', { alpha: false });
      if (!pen) return draw({ context, width, height });
      pen.scale(scale, scale);
      draw({ context: pen, width, height });
      this.of = all;
    }
    context.drawImage(this.picture, 0, 0, width, height);
  }
}
