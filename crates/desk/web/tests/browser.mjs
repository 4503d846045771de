/** The page in a browser, on the demonstration score; what it must say comes from demo/planted and from questions asked of the command. */
import { AxeBuilder } from '@axe-core/playwright';
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { begin, ended, isWhole, newPage, withDesk } from './desk.mjs';

const DEMO = new URL('../../../../demo/lifeboat_overture.musicxml', import.meta.url).pathname;
const hash = (page) => page.evaluate(() => location.hash);
const settle = (page) => page.waitForTimeout(400);

async function openDemo(page, desk) {
  await page.goto(desk.address);
  await page.getByRole('button', { name: /demonstration overture/ }).click();
  await isWhole(page);
}

async function seen(page) {
  await settle(page);
  const match = /seen=([\d.]+)-([\d.]+)/.exec(await hash(page));
  return match ? [Number(match[1]), Number(match[2])] : null;
}

test('add by choosing a file; the whole brass and what each section does in five actions', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    await page.goto(desk.address);
    const begun = Date.now();
    await page.locator('input[type=file]').setInputFiles(DEMO); // 1
    await isWhole(page);
    await page.getByRole('textbox', { name: 'Ask' }).fill('all brass play'); // 2
    await page.keyboard.press('Enter'); // 3
    await page.locator('.answer').getByRole('button', { name: '35–45' }).click(); // 4
    const [from, to] = await seen(page);
    assert.ok(from > 100 && to < 220, 'bars 35 to 45 are in sight');
    await page.getByRole('button', { name: 'Tubas', exact: true }).click(); // 5: opens the section
    assert.ok(Date.now() - begun < 60_000);
    // demo/planted/who_does_what.csv: the tubas have the bass there. The same answer as `ripieno ask`.
    assert.match(await page.locator('.answer').innerText(), /35 bars/);
    await page.getByRole('application').focus();
    for (let row = 0; row < 7; row++) await page.keyboard.press('ArrowDown');
    assert.match(await page.locator('p[aria-live]').innerText(), /Tubas, bars? 3[45].*bass/);
    assert.deepEqual(page.troubles, []);
  });
});

test('zoom by wheel, keys and buttons; the address keeps it; reload shows the same', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    await openDemo(page, desk);
    assert.equal(await seen(page), null);
    await page.getByRole('button', { name: /See nearer/ }).click();
    const once = await seen(page);
    await page.keyboard.press('+');
    const twice = await seen(page);
    assert.ok(twice[1] - twice[0] < once[1] - once[0]);
    await page.locator('canvas.marks').hover();
    await page.mouse.wheel(0, -300);
    const thrice = await seen(page);
    assert.ok(thrice[1] - thrice[0] < twice[1] - twice[0]);
    for (let i = 0; i < 20; i++) await page.keyboard.press('+');
    const beat = await seen(page);
    assert.ok(beat[1] - beat[0] <= 1, 'down to a beat');
    await page.reload();
    await isWhole(page);
    assert.deepEqual(await seen(page), beat);
    await page.keyboard.press('0');
    assert.equal(await seen(page), null);
    assert.deepEqual(page.troubles, []);
  });
});

test('correct, undo, redo; a correction outlives kill -9', async () => {
  await withDesk(async ({ browser, desk, library }) => {
    const page = await newPage(browser, desk);
    await openDemo(page, desk);
    const map = page.getByRole('application');
    await map.focus();
    await page.keyboard.press('ArrowDown');
    await page.keyboard.press('Enter');
    const panel = page.getByRole('region', { name: 'What is known of this span' });
    await panel.getByText('Why', { exact: true }).waitFor();
    const before = await panel.locator('.role strong').innerText();
    const set = before === 'pedal' ? 'bass' : 'pedal';
    await panel.getByRole('button', { name: set, exact: true }).click();
    await panel.getByText('set by hand').first().waitFor({ timeout: 60_000 });
    assert.equal(await panel.locator('.role strong').innerText(), set);
    await page.getByRole('button', { name: 'Undo' }).first().click();
    await page.waitForFunction((role) => document.querySelector('.role strong')?.textContent === role, before, { timeout: 60_000 });
    await page.getByRole('button', { name: 'Redo' }).first().click();
    await page.waitForFunction((role) => document.querySelector('.role strong')?.textContent === role, set, { timeout: 60_000 });
    const address = await hash(page);
    await ended(desk.child, 'SIGKILL');
    const again = await begin(library);
    Object.assign(desk, again);
    const other = await newPage(browser, desk);
    await other.goto(`${desk.address}${address}`);
    await isWhole(other);
    await other.getByRole('tab', { name: /Corrections/ }).click();
    await other.getByText(`role: ${set}`).waitFor();
    await other.getByText('set by hand').first().waitFor();
    assert.deepEqual([...page.troubles, ...other.troubles], []);
  });
});

test('findings and moments move the view; a wrong word is told with what was meant', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    await openDemo(page, desk);
    await page.getByRole('tab', { name: /Moments/ }).click();
    await page.getByRole('button', { name: /First full brass/ }).click();
    const [from, to] = await seen(page);
    assert.ok(from < 140 && to > 170, `bars 35 to 45 in ${from} to ${to}`);
    await page.keyboard.press('/');
    await page.keyboard.type('hornz play');
    await page.keyboard.press('Enter');
    await page.locator('.answer .bad').waitFor();
    assert.match(await page.locator('.answer').innerText(), /hornz.*horns/);
    assert.deepEqual(page.troubles, []);
  });
});

test('a file that is no score is told kindly, and the shelf goes on', async () => {
  await withDesk(async ({ browser, desk, folder }) => {
    const page = await newPage(browser, desk);
    await page.goto(desk.address);
    const broken = join(folder, 'broken.musicxml');
    writeFileSync(broken, readFileSync(DEMO, 'utf8').slice(0, 3000).replace('score-partwise', 'score-nonsense'));
    await page.locator('input[type=file]').setInputFiles(broken);
    await page.getByRole('alert').waitFor({ timeout: 30_000 });
    assert.match(await page.getByRole('alert').innerText(), /broken\.musicxml/);
    await page.locator('button.home').click();
    await page.getByRole('button', { name: 'Choose a score' }).waitFor();
    assert.deepEqual(page.troubles, []);
  });
});

test('the shelf shows what is kept, and finds by words', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    await openDemo(page, desk);
    await page.locator('button.home').click();
    await page.getByRole('link', { name: /The Boat Goes Out/ }).waitFor();
    await page.getByRole('searchbox').fill('trombon');
    await page.getByRole('link', { name: /The Boat Goes Out/ }).waitFor();
    await page.getByRole('searchbox').fill('bagpipe');
    await page.getByText('No score on the shelf has').waitFor();
    assert.deepEqual(page.troubles, []);
  });
});

for (const colorScheme of ['light', 'dark']) {
  for (const width of [1440, 820]) {
    test(`no barrier by WCAG 2.2 AA (axe-core): ${colorScheme}, ${width} px; nothing scrolls sideways`, async () => {
      await withDesk(async ({ browser, desk }) => {
        const page = await newPage(browser, desk, { colorScheme, viewport: { width, height: 1000 }, reducedMotion: 'reduce' });
        const look = async (where) => {
          const { violations } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze();
          assert.deepEqual(violations.map(({ id, nodes }) => `${where}: ${id}: ${nodes.map((node) => node.html.slice(0, 160)).join(' | ')}`), []);
          assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${where} scrolls sideways`);
        };
        await page.goto(desk.address);
        await page.getByRole('button', { name: 'Choose a score' }).waitFor();
        await look('empty shelf');
        await openDemo(page, desk);
        await look('study');
        await page.getByRole('application').focus();
        await page.keyboard.press('ArrowDown');
        await page.keyboard.press('Enter');
        await page.getByText('Why', { exact: true }).waitFor();
        await page.getByRole('button', { name: 'Examples' }).click();
        await look('evidence and examples');
        await page.getByRole('button', { name: 'Examples' }).click();
        await page.getByRole('button', { name: 'Single notes' }).click();
        await page.getByRole('tab', { name: /Corrections/ }).click();
        await page.getByRole('button', { name: 'Open sections' }).click();
        await look('opened');
        await page.locator('button.home').click();
        await page.getByRole('link', { name: /The Boat Goes Out/ }).waitFor();
        await look('shelf');
        assert.deepEqual(page.troubles, []);
      });
    });
  }
}
