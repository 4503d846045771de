/**
 * Memory of the page after ten scores in turn, and whether it grows when they are opened again:
 * RIPIENO=target/release/ripieno node tests/memory.mjs [SCORE...]. Without scores, ten copies of the demonstration score.
 */
import { readFileSync } from 'node:fs';
import { asker, doneBy, isWhole, newPage, withDesk } from './desk.mjs';
import { basename } from 'node:path';

const DEMO = readFileSync(new URL('../../../../demo/lifeboat_overture.musicxml', import.meta.url).pathname, 'utf8');
const given = process.argv.slice(2).map((path) => ({ name: basename(path), body: readFileSync(path) }));
const scores = given.length > 0 ? given : Array.from({ length: 10 }, (_, index) => ({ name: `copy ${index}.musicxml`, body: DEMO.replace('The Boat Goes Out', `Copy ${index}`) }));
const megabytes = (bytes) => (bytes / 1e6).toFixed(0);

await withDesk(async ({ browser, desk }) => {
  const ask = await asker(desk);
  const numbers = [];
  for (const { name, body } of scores) numbers.push(await doneBy(ask, (await (await ask(`/api/scores?name=${encodeURIComponent(name)}`, { method: 'POST', body })).json()).job));
  const page = await newPage(browser, desk);
  const session = await page.context().newCDPSession(page);
  await session.send('Performance.enable');
  const whole = await browser.newBrowserCDPSession();
  async function memory() {
    await session.send('HeapProfiler.collectGarbage');
    const { metrics } = await session.send('Performance.getMetrics');
    const value = (name) => metrics.find((metric) => metric.name === name)?.value ?? 0;
    const { processInfo } = await whole.send('SystemInfo.getProcessInfo');
    // The page is the renderer that holds most.
    const resident = Math.max(...processInfo.filter(({ type }) => type === 'renderer').map(({ id }) => Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${id}/status`, 'utf8'))?.[1] ?? 0) * 1024));
    return { heap: value('JSHeapUsedSize'), nodes: value('Nodes'), listeners: value('JSEventListeners'), resident };
  }
  await page.goto(desk.address);
  async function round() {
    for (const number of numbers) {
      await page.evaluate((hash) => { location.hash = hash; }, `#/study/${number}`);
      await page.waitForFunction((title) => document.title.startsWith(title), await page.title().then(() => ''), { timeout: 5000 }).catch(() => {});
      await isWhole(page);
      await page.getByRole('button', { name: 'Single notes' }).click();
      await page.waitForTimeout(250);
      await page.locator('button.home').click();
      await page.getByRole('searchbox').waitFor();
    }
  }
  await round();
  const first = await memory();
  console.log(`after ${numbers.length} scores in turn: heap ${megabytes(first.heap)} MB, page process ${megabytes(first.resident)} MB resident, ${first.nodes} nodes, ${first.listeners} listeners`);
  await round();
  await round();
  const last = await memory();
  console.log(`after two more rounds: heap ${megabytes(last.heap)} MB, page process ${megabytes(last.resident)} MB, ${last.nodes} nodes, ${last.listeners} listeners`);
  const grown = last.heap - first.heap;
  console.log(`grown by ${(grown / 1e6).toFixed(1)} MB in ${2 * numbers.length} openings`);
  if (first.resident > 400e6) throw new Error('the page takes more than 400 MB');
  if (grown > 10e6 || last.nodes > first.nodes * 1.3 + 500) throw new Error('the page does not let go of what it no longer shows');
});
