/**
 * 200 requests at a time while scores are being imported: RIPIENO=target/release/ripieno node tests/load.mjs [SCORE...]
 * Without scores the demonstration score is imported again and again under other titles.
 */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { asker, begin, doneBy, ended } from './desk.mjs';

const AT_ONCE = 200;
const ROUNDS = 6;
const DEMO = new URL('../../../../demo/lifeboat_overture.musicxml', import.meta.url).pathname;
const demo = readFileSync(DEMO, 'utf8');
const given = process.argv.slice(2).map((path) => ({ name: basename(path), body: readFileSync(path) }));
const scores = given.length > 0 ? given : Array.from({ length: 8 }, (_, index) => ({ name: `copy ${index}.musicxml`, body: demo.replace('The Boat Goes Out', `Copy ${index}`) }));

const folder = mkdtempSync(join(tmpdir(), 'ripieno-load-'));
const desk = await begin(join(folder, 'library.db'));
try {
  const ask = await asker(desk);
  const score = await doneBy(ask, (await (await ask('/api/demo', { method: 'POST' })).json()).job);
  const { revision } = await (await ask(`/api/scores/${score}/view`)).json();
  const paths = ['/api/scores', `/api/scores/${score}/view`, `/api/scores/${score}/ask?question=all%20brass%20play`, `/api/scores/${score}/evidence?span=5&revision=${revision}`, `/api/scores/${score}/notes`, '/api/ask?question=horns%20have%20melody', '/', '/api/jobs/1'];
  const jobs = [];
  for (const { name, body } of scores) jobs.push((await (await ask(`/api/scores?name=${encodeURIComponent(name)}`, { method: 'POST', body })).json()).job);
  const took = new Map(paths.map((path) => [path, []]));
  const all = [];
  let busy = 0;
  for (let round = 0; round < ROUNDS; round++) {
    const states = await Promise.all(jobs.map(async (job) => (await (await ask(`/api/jobs/${job}`)).json()).stage));
    if (!states.some((stage) => ['waiting', 'reading', 'studying'].includes(stage))) break;
    busy += 1;
    await Promise.all(Array.from({ length: AT_ONCE }, async (_, index) => {
      const path = paths[index % paths.length];
      const begun = performance.now();
      const answer = await ask(path);
      await answer.arrayBuffer();
      if (answer.status !== 200) throw new Error(`${path}: ${answer.status}`);
      const time = performance.now() - begun;
      all.push(time);
      took.get(path).push(time);
    }));
  }
  const at = (times, share) => [...times].sort((a, b) => a - b)[Math.min(Math.floor(times.length * share), times.length - 1)] ?? NaN;
  console.log(`${all.length} requests in ${busy} bursts of ${AT_ONCE} while ${scores.length} scores are imported: median ${at(all, 0.5).toFixed(0)} ms, 95th percentile ${at(all, 0.95).toFixed(0)} ms, longest ${Math.max(...all).toFixed(0)} ms`);
  for (const [path, times] of took) console.log(`  ${path}: median ${at(times, 0.5).toFixed(0)}, 95th percentile ${at(times, 0.95).toFixed(0)} ms`);
  for (const job of jobs) await ask(`/api/jobs/${job}`, { method: 'DELETE' });
} finally {
  await ended(desk.child);
  rmSync(folder, { recursive: true, force: true });
}
