/** Charting by hand in a browser: a score that exists only on paper is begun, filled, taken back, studied; what is counted on it is counted by hand here. */
import { AxeBuilder } from '@axe-core/playwright';
import assert from 'node:assert/strict';
import { test } from 'node:test';
import { asker, begin, ended, newPage, withDesk } from './desk.mjs';

const PARTS = ['Flute 1.2', 'Horn 1.2', 'Horn 3.4', 'Trombone 1.2', 'Violin I', 'Violoncello'];

/** Begins a chart of twelve bars on the page. */
async function begun(page, desk) {
  await page.goto(desk.address);
  await page.getByRole('link', { name: 'Chart a score on paper' }).click();
  await page.getByRole('textbox', { name: 'Title' }).fill('Quay');
  await page.getByRole('spinbutton', { name: 'Bars' }).fill('12');
  await page.getByRole('textbox', { name: /^Parts/ }).fill(PARTS.join('\n'));
  await page.getByRole('button', { name: 'Begin the chart' }).click();
  await page.getByRole('application', { name: /Grid/ }).waitFor();
}

/** Drags over bars of parts, all counted from 0. */
async function drag(page, [part, toPart], [bar, toBar]) {
  const box = await page.locator('.grid canvas').boundingBox();
  const names = await page.locator('.grid .names li').evaluateAll((all) => all.map((one) => one.getBoundingClientRect().top + 13));
  const wide = 22;
  const at = (number) => Math.round(box.x + (number + 0.5) * wide);
  await page.mouse.move(at(bar), Math.round(names[part]));
  await page.mouse.down();
  await page.mouse.move(at(toBar), Math.round(names[toPart]), { steps: 3 });
  await page.mouse.up();
}

const said = (page, words) => page.waitForFunction((words) => document.querySelector('p[aria-live]')?.textContent.includes(words), words, { timeout: 60_000 });
const rows = (page) => page.locator('table tbody tr').allInnerTexts();

test('a chart is made by dragging and by keys, taken back, reloaded, studied; a question finds its bars', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    await begun(page, desk);
    assert.match(await page.locator('h1').innerText(), /Quay/);
    assert.match(await page.locator('main').innerText(), /Nothing yet/);

    await drag(page, [4, 4], [0, 7]);
    await page.getByRole('button', { name: /^melody/ }).click();
    await said(page, 'Violin I, bars 1 to 8: melody. Saved.');
    await drag(page, [1, 2], [4, 11]);
    await page.keyboard.press('h');
    await said(page, '2 parts from Horn 1.2 to Horn 3.4, bars 5 to 12: harmony. Saved.');
    assert.equal((await rows(page)).length, 2);

    // By keys alone: the first horn turns to melody in 9 to 12.
    await page.getByRole('application', { name: /Grid/ }).focus();
    await drag(page, [1, 1], [8, 8]);
    for (let bar = 0; bar < 3; bar++) await page.keyboard.press('Shift+ArrowRight');
    await said(page, 'Horn 1.2, bars 9 to 12: harmony');
    await page.keyboard.press('m');
    await said(page, 'Horn 1.2, bars 9 to 12: melody. Saved.');
    const full = await rows(page);
    assert.equal(full.length, 4);
    assert.ok(full.some((row) => /Horn 1\.2\s+5-8\s+harmony/.test(row)), full.join('|'));

    await page.keyboard.press('Control+z');
    await said(page, 'Taken back.');
    assert.equal((await rows(page)).length, 2);
    await page.keyboard.press('Control+Shift+z');
    await said(page, 'Done again.');
    assert.deepEqual(await rows(page), full);
    await page.reload();
    await page.getByRole('application', { name: /Grid/ }).waitFor();
    assert.deepEqual(await rows(page), full, 'what is on the page is what is saved');

    await page.getByRole('link', { name: 'Study it' }).click();
    await page.getByText('This is a chart').first().waitFor();
    assert.equal(await page.getByRole('button', { name: 'Score', exact: true }).count(), 0);
    // Nothing that needs notes is offered, and no picture of nothing takes room.
    assert.equal(await page.getByRole('heading', { name: 'Register' }).count(), 0);
    assert.equal(await page.getByRole('link', { name: 'Objections' }).count(), 0);
    await page.getByRole('combobox', { name: 'Ask' }).fill('horns have melody');
    await page.keyboard.press('Enter');
    await page.locator('.answer').getByRole('button', { name: '9–12' }).waitFor();
    await page.getByRole('link', { name: 'Change the chart' }).click();
    await page.getByRole('application', { name: /Grid/ }).waitFor();
    assert.deepEqual(page.troubles, []);
  });
});

test('a chart outlives kill -9; two windows never overwrite each other', async () => {
  await withDesk(async ({ browser, desk, library }) => {
    const page = await newPage(browser, desk);
    await begun(page, desk);
    await drag(page, [5, 5], [0, 3]);
    await page.keyboard.press('b');
    await said(page, 'Violoncello, bars 1 to 4: bass. Saved.');
    const hash = await page.evaluate(() => location.hash);
    const ask = await asker(desk);
    const score = Number(/\d+/.exec(hash)[0]);
    const chart = await (await ask(`/api/scores/${score}/chart`)).json();
    const other = { state: chart.state, parts: [0], first: 0, last: 0, roles: ['effect'] };
    assert.equal((await ask(`/api/scores/${score}/chart/rows`, { method: 'POST', body: JSON.stringify(other), headers: { 'content-type': 'application/json' } })).status, 200);
    await drag(page, [4, 4], [0, 3]);
    await page.keyboard.press('m');
    await page.getByRole('alert').getByText(/changed meanwhile/).waitFor();
    await page.getByRole('button', { name: 'Look again' }).click();
    await page.waitForFunction(() => document.querySelectorAll('table tbody tr').length === 2);

    await ended(desk.child, 'SIGKILL');
    const next = await begin(library);
    try {
      const again = await newPage(browser, next);
      await again.goto(next.address);
      await again.evaluate((hash) => (location.hash = hash), hash);
      await again.getByRole('application', { name: /Grid/ }).waitFor();
      assert.equal((await rows(again)).length, 2);
      assert.deepEqual(again.troubles, []);
    } finally {
      await ended(next.child);
    }
  });
});

test('the text: bars and doublings are written there; a fault is told with its line and nothing is lost', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    await begun(page, desk);
    await drag(page, [1, 2], [0, 3]);
    await page.keyboard.press('m');
    await said(page, 'melody. Saved.');
    await page.getByRole('button', { name: 'Text' }).click();
    const box = page.getByRole('textbox', { name: 'The chart’s text' }).or(page.getByRole('textbox', { name: "The chart's text" }));
    const text = await box.inputValue();
    await box.fill(`${text}\n[[row]]\nwho = "Horn 3.4"\nbars = "1-40"\ndoubles = "Horn 1.2"\n`);
    await page.getByRole('button', { name: 'Save the text' }).click();
    await page.getByRole('alert').getByText(/line \d+: row 2: there is no bar 40/).waitFor();
    await box.fill(`${text}\n[[row]]\nwho = "Horn 3.4"\nbars = "1-4"\ndoubles = "Horn 1.2"\n`);
    await page.getByRole('button', { name: 'Save the text' }).click();
    await page.waitForFunction(() => /doubles Horn 1\.2, unison/.test(document.querySelector('table')?.textContent ?? ''));
    assert.deepEqual(page.troubles, []);
  });
});

for (const colorScheme of ['light', 'dark']) {
  for (const width of [1440, 820]) {
    test(`no barrier by WCAG 2.2 AA (axe-core) on the chart: ${colorScheme}, ${width} px; nothing scrolls sideways`, async () => {
      await withDesk(async ({ browser, desk }) => {
        const page = await newPage(browser, desk, { colorScheme, viewport: { width, height: 900 } });
        const check = async (where) => {
          const { violations } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze();
          assert.deepEqual(violations.map((one) => `${where} ${one.id}: ${one.nodes.map((node) => node.html).join(' ').slice(0, 300)}`), []);
          assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${where} scrolls sideways`);
        };
        await page.goto(desk.address);
        await page.getByRole('link', { name: 'Chart a score on paper' }).click();
        await page.getByRole('button', { name: 'Begin the chart' }).waitFor();
        await check('begin');
        await begun(page, desk);
        await drag(page, [4, 5], [0, 7]);
        await page.keyboard.press('m');
        await said(page, 'melody. Saved.');
        await drag(page, [1, 3], [4, 11]);
        await page.keyboard.press('h');
        await said(page, 'harmony. Saved.');
        await check('chart');
        if (process.env.SCREENS) await page.screenshot({ path: `${process.env.SCREENS}/chart-${colorScheme}-${width}.png`, fullPage: true });
        await page.getByRole('link', { name: 'Study it' }).click();
        await page.getByText('This is a chart').first().waitFor();
        await page.waitForTimeout(500);
        await check('study');
        if (process.env.SCREENS) await page.screenshot({ path: `${process.env.SCREENS}/chart-study-${colorScheme}-${width}.png`, fullPage: true });
        assert.deepEqual(page.troubles, []);
      });
    });
  }
}
