/** Figures of the page, with a release build: RIPIENO=target/release/ripieno node tests/measure.mjs SCORE */
import { isWhole, newPage, withDesk } from './desk.mjs';

const score = process.argv[2];
const at = (sorted, share) => sorted[Math.min(Math.floor(sorted.length * share), sorted.length - 1)] ?? 0;

/** The same view with its notes said again, slightly later, until there are so many. */
function thicker(view, count) {
  const notes = view.notes;
  const rows = notes.onset.map((_, index) => index);
  const times = Math.ceil(count / rows.length);
  const all = rows.flatMap((row) => Array.from({ length: times }, (_, again) => ({ row, onset: notes.onset[row] + again * 0.11 })));
  const some = all.slice(0, Math.max(count, rows.length)).sort((a, b) => a.onset - b.onset);
  const of = (column) => some.map(({ row }) => notes[column][row]);
  return { ...view, notes: { onset: some.map(({ onset }) => onset), duration: of('duration'), key: of('key'), part: of('part'), span: of('span'), dynamic: of('dynamic') } };
}

await withDesk(async ({ browser, desk }) => {
  const page = await newPage(browser, desk);
  await page.goto(desk.address, { waitUntil: 'load' });
  const weight = await page.evaluate(() => [...performance.getEntriesByType('resource'), ...performance.getEntriesByType('navigation')].reduce((sum, entry) => sum + entry.decodedBodySize, 0));
  console.log(`first page weight: ${(weight / 1e6).toFixed(3)} MB`);
  const drop = Date.now();
  await page.locator('input[type=file]').setInputFiles(score);
  await page.getByRole('heading', { name: 'Register' }).waitFor({ timeout: 60_000 });
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
  console.log(`drop to first picture: ${((Date.now() - drop) / 1000).toFixed(2)} s`);
  await isWhole(page);
  console.log(`drop to whole analysis on screen: ${((Date.now() - drop) / 1000).toFixed(2)} s`);

  await page.route('**/view', async (route) => {
    const answer = await route.fetch();
    await route.fulfill({ response: answer, json: thicker(await answer.json(), 60_000) });
  });
  for (const register of ['Single notes', 'Families']) {
    await page.reload();
    await isWhole(page);
    await page.getByRole('button', { name: register }).click();
    await page.waitForTimeout(1500);
    const cdp = await page.context().newCDPSession(page);
    const events = [];
    cdp.on('Tracing.dataCollected', ({ value }) => events.push(...value));
    await cdp.send('Tracing.start', { transferMode: 'ReportEvents', categories: 'devtools.timeline,disabled-by-default-devtools.timeline,toplevel' });
    const canvas = await page.locator('canvas.marks').boundingBox();
    await page.mouse.move(canvas.x + canvas.width * 0.6, canvas.y + 40);
    for (let i = 0; i < 30; i++) await page.mouse.wheel(0, -60);
    for (let i = 0; i < 30; i++) await page.mouse.wheel(40, 0);
    for (let i = 0; i < 40; i++) await page.mouse.wheel(0, 60);
    await page.waitForTimeout(500);
    const over = new Promise((done) => cdp.once('Tracing.tracingComplete', done));
    await cdp.send('Tracing.end');
    await over;
    const main = events.find((event) => event.name === 'thread_name' && event.args.name === 'CrRendererMain' && events.some((other) => other.name === 'FireAnimationFrame' && other.tid === event.tid && other.pid === event.pid));
    if (!main) throw new Error('the trace names no main thread');
    const { pid, tid } = main;
    // What the main thread does up to a commit is one frame's.
    const frames = events.filter((event) => event.name === 'Commit' && event.pid === pid && event.tid === tid).sort((a, b) => a.ts - b.ts);
    const KINDS = ['FireAnimationFrame', 'EventDispatch', 'UpdateLayoutTree', 'Layout', 'PrePaint', 'Paint', 'Layerize', 'Commit'];
    const work = frames.map(() => ({ wall: 0, cpu: 0 }));
    for (const event of events) {
      if (event.pid !== pid || event.tid !== tid || event.ph !== 'X' || !KINDS.includes(event.name)) continue;
      const frame = work[frames.findIndex((frame) => frame.ts >= event.ts)];
      if (!frame) continue;
      frame.wall += (event.dur ?? 0) / 1000;
      frame.cpu += (event.tdur ?? event.dur ?? 0) / 1000;
    }
    const sort = (kind) => work.map((frame) => frame[kind]).sort((a, b) => a - b);
    const [wall, cpu] = [sort('wall'), sort('cpu')];
    console.log(`60,000 notes, ${register}: ${work.length} frames; script and paint, 95th percentile ${at(wall, 0.95).toFixed(1)} ms (thread time ${at(cpu, 0.95).toFixed(1)} ms), median ${at(wall, 0.5).toFixed(1)} ms`);
  }

  // Sound: from pressing the button to the first sample that leaves the mixer, and blocks of silence for want of sound.
  await page.unroute('**/view');
  await page.reload();
  await isWhole(page);
  const sound = (name) => page.locator('.listening').getAttribute(`data-${name}`);
  const phase = (name) => page.waitForFunction((name) => document.querySelector('.listening')?.dataset.phase === name, name, { timeout: 30_000 });
  const firsts = [];
  for (let time = 0; time < 10; time++) {
    await page.getByRole('button', { name: 'Play', exact: true }).click();
    await phase('playing');
    await page.waitForTimeout(400);
    firsts.push(Number(await sound('first-sound')));
    await page.getByRole('button', { name: 'Stop' }).click();
    await page.waitForTimeout(300);
  }
  firsts.sort((a, b) => a - b);
  console.log(`play to first sound, ten times: median ${at(firsts, 0.5).toFixed(0)} ms, worst ${firsts.at(-1).toFixed(0)} ms`);
  const seconds = Number(process.env.SECONDS ?? 300);
  await page.getByRole('checkbox', { name: 'again and again' }).check();
  await page.getByRole('button', { name: 'Play', exact: true }).click();
  await phase('playing');
  const cdp = await page.context().newCDPSession(page);
  const begun = Date.now();
  for (let turn = 0; Date.now() - begun < seconds * 1000; turn++) {
    // Somebody works with it meanwhile: zooms, and switches sections.
    await page.keyboard.press(turn % 2 === 0 ? '+' : '-');
    await page.waitForTimeout(1000);
  }
  const { usedSize } = await cdp.send('Runtime.getHeapUsage');
  console.log(`${seconds} s of listening with zooming: ${await sound('dropouts')} blocks of silence; heap ${(usedSize / 1e6).toFixed(0)} MB; phase ${await sound('phase')}`);
  await page.getByRole('button', { name: 'Stop' }).click();
  console.log(`troubles: ${JSON.stringify(page.troubles)}`);
});
