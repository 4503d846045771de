/** Starts a desk on an empty library and a browser on it; both are ended whatever happens. */
import { execFileSync, spawn } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium } from 'playwright-core';

export const PROGRAM = process.env.RIPIENO ?? new URL('../../../../target/debug/ripieno', import.meta.url).pathname;

/** Without the engraver the score would be missing from pictures and tests without a word: they stop instead, with one. */
export function engraverOrStop() {
  const folder = mkdtempSync(join(tmpdir(), 'ripieno-engraver-'));
  try {
    execFileSync(PROGRAM, ['excerpt', new URL('../../../../demo/lifeboat_overture.musicxml', import.meta.url).pathname, '--bars', '1-1', '--out', join(folder, 'bar.svg')], { stdio: 'pipe' });
  } catch (error) {
    const said = String(error.stderr ?? '').trim().split('\n').at(-1);
    console.error(/engraver/.test(said ?? '') ? `${PROGRAM} has no engraver, which this needs; build it with: cargo build -p ripieno --features engraving` : `${PROGRAM} cannot engrave a bar of the demo: ${said || error.message}`);
    process.exit(1);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Starts a desk; on any free port unless one is given, on its usual one for `null`. */
export function begin(library, port = 0) {
  const child = spawn(PROGRAM, ['desk', '--library', library, '--no-open', ...(port === null ? [] : ['--port', String(port)])], { stdio: ['ignore', 'pipe', 'inherit'] });
  return new Promise((resolve, reject) => {
    child.once('error', reject);
    child.once('exit', (code) => reject(new Error(`the desk ended with ${code}`)));
    child.stdout.on('data', (data) => {
      const address = /http:\/\/\S+/.exec(String(data))?.[0];
      // What the page's own requests begin with; the address opens the desk.
      if (address) resolve({ address, origin: new URL(address).origin, child });
    });
  });
}

/** Asks the desk as its page does. */
export async function asker({ address, origin }) {
  const page = await fetch(address);
  const cookie = (page.headers.get('set-cookie') ?? '').split(';')[0];
  return (path, init = {}) => fetch(origin + path, { ...init, headers: { cookie, ...init.headers } });
}

/** Waits for a job and answers its score. */
export async function doneBy(ask, job) {
  for (;;) {
    const state = await (await ask(`/api/jobs/${job}`)).json();
    if (state.stage === 'done') return state.score;
    if (state.stage === 'failed' || state.stage === 'cancelled') throw new Error(state.message);
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
}

/** Ends a desk and waits until it has; one that has ended already is left alone. */
export const ended = (child, signal = 'SIGINT') => new Promise((resolve) => {
  child.removeAllListeners('exit');
  if (child.exitCode !== null || child.signalCode !== null) return resolve();
  child.once('exit', resolve);
  child.kill(signal);
});

export async function withDesk(work) {
  const folder = mkdtempSync(join(tmpdir(), 'ripieno-desk-'));
  const library = join(folder, 'library.db');
  const browser = await chromium.launch({ executablePath: process.env.CHROMIUM ?? '/usr/bin/chromium', args: ['--no-sandbox'] });
  const desk = await begin(library);
  try {
    await work({ browser, desk, library, folder });
  } finally {
    await browser.close();
    await ended(desk.child);
    rmSync(folder, { recursive: true, force: true });
  }
}

/** A page whose errors, foreign requests and blocked content fail the test. */
export async function newPage(browser, desk, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, colorScheme: 'light', ...options });
  const page = await context.newPage();
  page.troubles = [];
  page.on('pageerror', (error) => page.troubles.push(error.message));
  // What the server refuses is shown by the page in words; the browser's own line about it is no trouble.
  page.on('console', (message) => message.type() === 'error' && !/Failed to load resource/.test(message.text()) && page.troubles.push(message.text()));
  // The desk it was opened on: after a new start another page belongs to the new one, and neither may ask the other's.
  const own = desk.origin;
  page.on('request', (request) => {
    const { protocol, origin } = new URL(request.url());
    if (protocol !== 'data:' && protocol !== 'blob:' && origin !== own) page.troubles.push(`asks elsewhere: ${request.url()}`);
  });
  return page;
}

/** The view is whole: roles, melody and register have been drawn. */
export async function isWhole(page) {
  await page.getByRole('heading', { name: 'Melody', exact: true }).waitFor({ timeout: 90_000 });
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
}

/** The balance is known where it is heard. */
export async function isWeighed(page) {
  await page.getByText(/^What the estimate says/).waitFor({ timeout: 90_000 });
  await page.evaluate(() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done))));
}
