/**
 * Each view beside a picture of it that a person has looked at: tests/looks/*.png, a quarter of the size (an eighth for the largest screen).
 * What the server answers is kept beside them (answers.json.gz), so that a better analysis changes no picture: this is about the page.
 * `RIPIENO_WRITE=1 npm run looks` takes both anew; look at them before they are committed. Where a view looks otherwise, the picture it should have had and the one
 * it has lie side by side in tests/looks-unlike, with the pixels that differ in red.
 */
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { existsSync, mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { gunzipSync, gzipSync } from 'node:zlib';
import { asker, doneBy, engraverOrStop, isWeighed, isWhole, newPage, withDesk } from './desk.mjs';
import { draft } from './draft.mjs';

const FOLDER = new URL('./looks/', import.meta.url).pathname;
const isWriting = process.env.RIPIENO_WRITE !== undefined;
// Engraved bars are among the answers that are kept.
if (isWriting) engraverOrStop();
const UNLIKE = new URL('./looks-unlike/', import.meta.url).pathname;
const ANSWERS = join(FOLDER, 'answers.json.gz');
/** Answers by what was asked, before there was a score and afterwards. */
const answers = isWriting ? {} : JSON.parse(gunzipSync(readFileSync(ANSWERS)).toString('utf8'));

/** Keeps what the server answers, or answers in its stead. */
async function answering(page, stage) {
  await page.route('**/api/**', async (route) => {
    const { pathname, search } = new URL(route.request().url());
    // Sound made ready for playing is not seen.
    if (pathname.endsWith('/stream')) return route.fulfill({ status: 404, json: { message: 'no sound is kept' } });
    const key = `${stage()} ${pathname}${search}`;
    if (!isWriting) {
      const kept = answers[key];
      if (kept === undefined) return route.fulfill({ status: 404, json: { message: `no answer is kept for ${key}` } });
      return kept.picture ? route.fulfill({ contentType: kept.picture, body: Buffer.from(kept.base64, 'base64') }) : route.fulfill({ json: kept });
    }
    if (route.request().method() !== 'GET' || pathname.endsWith('/events')) return route.continue();
    const answer = await route.fetch();
    const kind = answer.headers()['content-type'] ?? '';
    if (answer.status() === 200 && kind.startsWith('application/json')) answers[key] = await answer.json();
    // Engraved bars.
    if (answer.status() === 200 && kind.startsWith('image/')) answers[key] = { picture: kind, base64: (await answer.body()).toString('base64') };
    return route.fulfill({ response: answer });
  });
}

/** Levels of a channel, of 255, by which a pixel may differ: the edges of letters fall elsewhere in other builds of the browser. */
const NEAR = 40;
/** Share of pixels that may differ by more. */
const MOST = 0.006;

/** Shrinks a picture; tells which share of its pixels differs from another's. The fonts are the page's own. */
async function compared(page, shot, before) {
  return page.evaluate(async ([now, then, near]) => {
    const bitmap = async (base64) => createImageBitmap(await (await fetch(`data:image/png;base64,${base64}`)).blob());
    const pixels = (image, width, height) => {
      const canvas = new OffscreenCanvas(width, height);
      const context = canvas.getContext('2d');
      context.imageSmoothingQuality = 'high';
      context.drawImage(image, 0, 0, width, height);
      return { canvas, data: context.getImageData(0, 0, width, height).data };
    };
    const image = await bitmap(now);
    const by = image.width > 3000 ? 8 : 4;
    const [width, height] = [Math.round(image.width / by), Math.round(image.height / by)];
    const small = pixels(image, width, height);
    const coded = async (canvas) => {
      const bytes = new Uint8Array(await (await canvas.convertToBlob({ type: 'image/png' })).arrayBuffer());
      let text = '';
      for (const byte of bytes) text += String.fromCharCode(byte);
      return btoa(text);
    };
    const png = await coded(small.canvas);
    if (then === null) return { png, share: 1, red: null };
    const other = await bitmap(then);
    if (other.width !== width || other.height !== height) return { png, share: 1, red: null };
    const { data } = pixels(other, width, height);
    const canvas = new OffscreenCanvas(width, height);
    const context = canvas.getContext('2d');
    const marks = context.createImageData(width, height);
    let unlike = 0;
    for (let at = 0; at < data.length; at += 4) {
      const is = [0, 1, 2].some((channel) => Math.abs(data[at + channel] - small.data[at + channel]) > near);
      unlike += is ? 1 : 0;
      marks.data.set(is ? [220, 0, 0, 255] : [0, 1, 2].map((channel) => 200 + small.data[at + channel] / 5).concat(255), at);
    }
    context.putImageData(marks, 0, 0);
    return { png, share: unlike / (data.length / 4), red: unlike > 0 ? await coded(canvas) : null };
  }, [shot.toString('base64'), before, NEAR]);
}

test('every view looks as it was reviewed', async () => {
  mkdirSync(FOLDER, { recursive: true });
  rmSync(UNLIKE, { recursive: true, force: true });
  await withDesk(async ({ browser, desk }) => {
    const blank = await (await browser.newContext()).newPage();
    const unlike = [];
    const ask = await asker(desk);
    let stage = 'empty';
    for (const [colorScheme, width, height] of [['light', 1440, 900], ['dark', 1440, 900], ['light', 820, 1180], ['light', 3840, 2160]]) {
      const page = await newPage(browser, desk, { colorScheme, viewport: { width, height }, reducedMotion: 'reduce' });
      await answering(page, () => stage);
      const shot = async (name) => {
        await page.evaluate(() => document.fonts.ready);
        await page.evaluate(() => document.activeElement?.blur());
        await page.mouse.move(1, 1);
        await page.waitForTimeout(400);
        const path = join(FOLDER, `${name}-${width}-${colorScheme}.png`);
        const before = existsSync(path) && !isWriting ? readFileSync(path).toString('base64') : null;
        const { png, share, red } = await compared(blank, await page.screenshot({ animations: 'disabled', caret: 'hide' }), before);
        if (isWriting) writeFileSync(path, Buffer.from(png, 'base64'));
        else if (share > MOST) {
          mkdirSync(UNLIKE, { recursive: true });
          const keep = (what, base64) => base64 !== null && writeFileSync(join(UNLIKE, `${name}-${width}-${colorScheme}-${what}.png`), Buffer.from(base64, 'base64'));
          keep('reviewed', before);
          keep('now', png);
          keep('unlike', red);
          const why = before === null ? 'no picture of it has been reviewed' : `${(share * 100).toFixed(2)} % of the pixels differ`;
          unlike.push(`${name}, ${width} px, ${colorScheme}: ${why}; see ${join(UNLIKE, `${name}-${width}-${colorScheme}-*.png`)}`);
        }
      };
      await page.goto(desk.address);
      if (colorScheme === 'light' && width === 1440) {
        await page.getByRole('button', { name: 'Choose a score' }).waitFor();
        await shot('first-start');
        stage = 'kept';
        if (isWriting) {
          await doneBy(ask, (await (await ask('/api/demo', { method: 'POST' })).json()).job);
          const { job } = await (await ask('/api/scores?name=draft.musicxml', { method: 'POST', body: draft('The Boat Goes Out, second draft') })).json();
          await doneBy(ask, job);
        }
      }
      for (const [name, address, ready] of [
        ['study', '#/study/1', null],
        ['study-near', '#/study/1?seen=136-180&open=4&ask=all+brass+play', '.answer .chip'],
        ['notes', '#/study/1?register=notes&panel=notes', null],
      ]) {
        await page.goto('about:blank');
        await page.goto(`${desk.address}${address}`);
        await isWhole(page);
        await isWeighed(page);
        if (ready) await page.locator(ready).first().waitFor();
        // Notes stand below the fold on a small screen.
        if (name === 'notes') await page.getByRole('heading', { name: 'Register' }).evaluate((heading) => heading.scrollIntoView({ block: 'center' }));
        await shot(name);
      }
      const study = async (address = '') => {
        await page.goto('about:blank');
        await page.goto(`${desk.address}#/study/1${address}`);
        await isWhole(page);
        await isWeighed(page);
      };
      await study('?chosen=35-42&score=sounding');
      await page.waitForFunction(() => document.querySelector('.excerpt img')?.complete && document.querySelector('.excerpt img').naturalWidth > 300);
      await page.locator('.excerpt').evaluate((excerpt) => excerpt.scrollIntoView({ block: 'start' }));
      await shot('excerpt');
      await study();
      await page.getByText(/^What the estimate says/).click();
      await page.getByText(/^Two verdicts/).click();
      await shot('balance');
      await study();
      await page.getByRole('application', { name: /^Role map/ }).focus();
      await page.keyboard.press('ArrowDown');
      await page.keyboard.press('Enter');
      await page.getByText('Why', { exact: true }).waitFor();
      await page.getByText('By estimate').last().waitFor();
      await shot('evidence');
      await page.goto('about:blank');
      await page.goto(`${desk.address}#/?ask=horns+have+melody&sort=title`);
      await page.locator('#found .chip').first().waitFor();
      await shot('shelf');
      await page.goto('about:blank');
      await page.goto(`${desk.address}#/compare?a=1&b=2`);
      await page.getByRole('heading', { name: 'What differs most' }).waitFor({ timeout: 120_000 });
      await shot('compare');
      assert.deepEqual(page.troubles, []);
      await page.context().close();
    }
    if (isWriting) writeFileSync(ANSWERS, gzipSync(JSON.stringify(answers), { level: 9 }));
    assert.deepEqual(unlike, []);
  });
});
