/** The writing page in a browser: from a sketch to a proposal that is heard and a ZIP, by keyboard; what must come out is what `ripieno cast` writes. */
import { AxeBuilder } from '@axe-core/playwright';
import assert from 'node:assert/strict';
import { execFileSync } from 'node:child_process';
import { readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { test } from 'node:test';
import { asker, begin, doneBy, ended, newPage, PROGRAM, withDesk } from './desk.mjs';
import { DEMO } from './draft.mjs';

const SKETCH = new URL('../../../../demo/sketch_second_theme.musicxml', import.meta.url).pathname;
const said = (page) => page.locator('p[aria-live]').innerText();

async function begun(page, desk) {
  await page.goto(`${desk.address}#/write`);
  await page.getByRole('button', { name: 'Take the demonstration sketch' }).click();
  await page.getByRole('grid').waitFor();
}

/** Tabs on until the element with this role and name is reached. */
async function tabTo(page, name) {
  for (let i = 0; i < 200; i++) {
    const found = await page.evaluate(() => document.activeElement?.getAttribute('aria-label') || document.activeElement?.textContent?.trim() || '');
    if (name.test(found)) return;
    await page.keyboard.press('Tab');
  }
  throw new Error(`${name} is not reached by Tab`);
}

async function proposed(page, count) {
  await page.getByRole('article', { name: `Proposal ${count}` }).waitFor({ timeout: 120_000 });
}

test('from the sketch to a proposal that is heard and a ZIP, by keyboard alone', async () => {
  await withDesk(async ({ browser, desk, folder }) => {
    const page = await newPage(browser, desk);
    await page.goto(`${desk.address}#/write`);
    await page.getByRole('button', { name: 'Choose a sketch' }).waitFor();
    await tabTo(page, /^Take the demonstration sketch$/);
    await page.keyboard.press('Enter');
    const grid = page.getByRole('grid');
    await grid.waitFor();
    // The plan: the first group rests in the first phrase, the second has the melody.
    await tabTo(page, /, bars .*: open/);
    await page.keyboard.press('m');
    await page.getByRole('gridcell', { name: /melody, set/ }).first().waitFor();
    await page.keyboard.press('ArrowDown');
    await page.keyboard.press('s');
    await page.getByRole('gridcell', { name: /tacet, set/ }).first().waitFor();
    await tabTo(page, /^Propose$/);
    await page.keyboard.press('Enter');
    await proposed(page, 3);
    // What was set stays, what was open is filled in.
    assert.equal(await page.getByRole('gridcell', { name: /tacet, set/ }).count(), 1);
    assert.ok((await page.getByRole('gridcell', { name: /, proposed/ }).count()) > 4);
    // What players object to stands among the criteria, from the list below.
    const cautions = page.getByRole('row', { name: /^cautions found by players/ }).locator('td').first();
    await page.waitForFunction((cell) => /^\d+$/.test(cell.textContent.trim()), await cautions.elementHandle());
    await page.locator('#objections').getByRole('button', { name: new RegExp(`^${await cautions.innerText()} cautions?$`) }).waitFor();
    await page.getByRole('article', { name: 'Proposal 1' }).getByRole('button', { name: 'Hear' }).focus();
    await page.keyboard.press('Enter');
    const foot = page.getByRole('region', { name: 'Listening' });
    await page.waitForFunction(() => document.querySelector('.foot')?.dataset.phase === 'playing', null, { timeout: 60_000 });
    // From one proposal to the next while it plays.
    const run = Number(await foot.getAttribute('data-first-sound'));
    await page.keyboard.press('2');
    assert.equal(await foot.getAttribute('data-heard'), '1');
    // What is looked at, and would be delivered, is still the first.
    assert.ok(await page.locator('#parts').getByRole('heading', { name: 'Proposal 1' }).isVisible());
    assert.equal(await foot.getAttribute('data-phase'), 'playing');
    assert.equal(Number(await foot.getAttribute('data-first-sound')), run, 'it is not begun anew');
    await page.keyboard.press('Shift+P');
    await page.getByRole('checkbox', { name: /with sound/ }).focus();
    await page.keyboard.press('Space');
    await page.getByRole('button', { name: 'Make score and parts' }).focus();
    const download = page.waitForEvent('download', { timeout: 300_000 });
    await page.keyboard.press('Enter');
    const file = await download;
    assert.match(file.suggestedFilename(), /score-and-parts\.zip$/);
    const path = join(folder, 'delivery.zip');
    await file.saveAs(path);
    assert.equal(readFileSync(path).subarray(0, 2).toString(), 'PK');
    assert.deepEqual(page.troubles, []);
  });
});

test('a changed phrase is cast again in under a second; the others stay; undo, redo, reload and a desk that was killed', async () => {
  await withDesk(async ({ browser, desk, library }) => {
    const page = await newPage(browser, desk);
    await begun(page, desk);
    await page.getByRole('combobox', { name: 'how many' }).selectOption('1');
    await page.getByRole('button', { name: 'Propose', exact: true }).click();
    await proposed(page, 1);
    const cells = () => page.getByRole('gridcell').evaluateAll((all) => all.map((one) => one.getAttribute('aria-label')));
    const before = await cells();
    await page.getByRole('gridcell').first().click();
    await page.keyboard.press('s');
    await page.getByRole('button', { name: 'Cast it again' }).click();
    await page.waitForFunction(() => /Cast again in/.test(document.querySelector('p[aria-live]')?.textContent ?? ''), null, { timeout: 60_000 });
    const seconds = Number(/in ([\d.]+) seconds/.exec(await said(page))?.[1]);
    console.log(`one phrase cast again, studied and shown: ${seconds} s`);
    const columns = await page.locator('[role=columnheader]').count() - 1;
    const after = await cells();
    assert.match(after[0], /tacet, set/);
    // Columns but the first are as they were.
    assert.deepEqual(after.filter((_, index) => index % columns !== 0), before.filter((_, index) => index % columns !== 0));
    await page.getByRole('button', { name: 'Take back' }).click();
    await page.waitForFunction(() => !/tacet, set/.test(document.querySelector('[role=gridcell]')?.getAttribute('aria-label') ?? ''));
    await page.getByRole('button', { name: 'Make again' }).click();
    await page.waitForFunction(() => /tacet, set/.test(document.querySelector('[role=gridcell]')?.getAttribute('aria-label') ?? ''));
    await page.reload();
    await page.getByRole('grid').waitFor();
    assert.deepEqual(await cells(), after);
    assert.deepEqual(page.troubles, []);
    await ended(desk.child, 'SIGKILL');
    const next = await begin(library);
    desk.child = next.child;
    const other = await newPage(browser, next);
    await other.goto(`${next.address}#/write/1`);
    await other.getByRole('grid').waitFor();
    assert.deepEqual(await other.getByRole('gridcell').evaluateAll((all) => all.map((one) => one.getAttribute('aria-label'))), after);
    await other.getByRole('button', { name: 'Take back' }).click();
    await other.waitForFunction(() => !/tacet, set/.test(document.querySelector('[role=gridcell]')?.getAttribute('aria-label') ?? ''));
    assert.deepEqual(other.troubles, []);
  });
});

test('line-ups: one taken over, changed row by row, out and in as TOML; a fault is one sentence and changes nothing', async () => {
  await withDesk(async ({ browser, desk, folder }) => {
    const page = await newPage(browser, desk);
    await begun(page, desk);
    await page.getByRole('combobox', { name: 'Take over' }).selectOption('brass-quintet');
    await page.getByText(/brass quintet.*5 players/).waitFor();
    await page.getByRole('button', { name: 'Change players' }).click();
    await page.getByRole('spinbutton', { name: 'Players of Trombone' }).fill('2');
    await page.keyboard.press('Tab');
    await page.getByText(/brass quintet.*6 players/).waitFor();
    // What is refused is told at its row, whose box shows again what is in force and keeps the focus.
    const strong = page.getByRole('textbox', { name: 'Strong high in Trombone' });
    await strong.fill('7');
    await strong.press('Enter');
    await page.locator('#line-up td').getByText(/Trombone.*7/).waitFor();
    await page.waitForFunction(() => document.activeElement?.getAttribute('aria-label') === 'Strong high in Trombone');
    assert.equal(await strong.inputValue(), '');
    await page.getByRole('textbox', { name: 'A further section' }).fill('Zonk');
    await page.keyboard.press('Enter');
    await page.getByRole('alert').getByText(/Zonk.*no instrument/).waitFor();
    await page.getByText(/6 players/).waitFor();
    const [download] = await Promise.all([page.waitForEvent('download'), page.locator('#line-up').getByRole('link', { name: 'Take away as TOML' }).click()]);
    const path = join(folder, 'lineup.toml');
    await download.saveAs(path);
    assert.match(readFileSync(path, 'utf8'), /players = 2/);
    writeFileSync(path, readFileSync(path, 'utf8').replace('players = 2', 'players = 3'));
    await page.locator('#line-up input[type=file]').setInputFiles(path);
    await page.getByText(/7 players/).waitFor();
    assert.deepEqual(page.troubles, []);
  });
});

test('bars of a score become a sketch; its practice is the model; its objections and its parts stand on a page of their own', async () => {
  await withDesk(async ({ browser, desk }) => {
    const page = await newPage(browser, desk);
    const ask = await asker(desk);
    const score = await doneBy(ask, (await (await ask('/api/demo', { method: 'POST' })).json()).job);
    // The second theme stands in bars 51 to 66; the upbeat is bar 0.
    const draft = await (await ask('/api/drafts/of-bars', { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify({ score, first: 51, last: 66 }) })).json();
    await page.goto(`${desk.address}#/write/${draft.draft}`);
    await page.getByRole('grid').waitFor();
    await page.getByText('bars 51–66 of The Boat Goes Out').waitFor();
    await page.getByRole('button', { name: 'Carry over from a passage' }).click();
    await page.getByRole('combobox', { name: /each section does/ }).selectOption({ label: 'The Boat Goes Out' });
    await page.getByRole('textbox', { name: 'bars', exact: true }).fill('35-45');
    await page.getByRole('button', { name: 'Carry over', exact: true }).click();
    await page.getByRole('gridcell', { name: /, set/ }).first().waitFor();
    // A proposal is laid beside the bars it comes from: as many bars on both sides.
    await page.getByRole('combobox', { name: 'how many' }).selectOption('1');
    await page.getByRole('button', { name: 'Propose', exact: true }).click();
    await page.getByRole('button', { name: 'Put it on the shelf' }).click({ timeout: 60_000 });
    await page.getByRole('button', { name: 'Compare with the bars it comes from' }).click({ timeout: 60_000 });
    await page.waitForFunction(() => /#\/compare\?a=\d+&b=\d+/.test(location.hash), null, { timeout: 60_000 });
    const beside = new URLSearchParams(new URL(page.url()).hash.split('?')[1]);
    const cards = await (await ask('/api/scores')).json();
    const lengths = ['a', 'b'].map((side) => cards.find((card) => String(card.score) === beside.get(side)).bars);
    assert.deepEqual(lengths, [16, 16]);
    await page.goto(`${desk.origin}/#/write/check/${score}`);
    await page.getByText('Ask the player. Stop on pain.').waitFor({ timeout: 60_000 });
    await page.locator('li .bars').first().click();
    await page.waitForFunction(() => /#\/study\/\d+/.test(location.hash));
    assert.deepEqual(page.troubles, []);
  });
});

test('a single note is moved and stays; a saved profile is the model; the file’s own staves get roles', async () => {
  await withDesk(async ({ browser, desk, folder }) => {
    const page = await newPage(browser, desk);
    const profile = join(folder, 'harbour.json');
    execFileSync(PROGRAM, ['profile', DEMO, '--out', profile], { stdio: 'ignore' });
    const ask = await asker(desk);
    await ask('/api/profiles?name=harbour.json', { method: 'POST', body: readFileSync(profile), headers: { 'content-type': 'application/octet-stream' } });
    await begun(page, desk);
    await page.getByRole('combobox', { name: 'how many' }).selectOption('1');
    await page.getByRole('combobox', { name: 'what is open is filled in' }).selectOption('p1');
    await page.getByRole('button', { name: 'Propose', exact: true }).click();
    await proposed(page, 1);
    assert.equal((await (await ask('/api/drafts/1')).json()).proposals[0].like_profile, 1);
    await page.getByRole('button', { name: 'See the score' }).click();
    const paper = page.getByRole('application', { name: /Proposal 1, engraved/ });
    await paper.waitFor();
    await page.locator('#proposals img, #proposals .say').first().waitFor({ timeout: 120_000 });
    if ((await page.locator('#proposals img').count()) > 0) {
      await paper.focus();
      await page.keyboard.press('Home');
      await page.keyboard.press('ArrowRight');
      await page.getByRole('group', { name: 'The note picked' }).waitFor();
      await page.getByRole('button', { name: 'A semitone lower' }).click();
      await page.getByText(/^Set by hand: .*bar \d+: [A-G]/).waitFor();
      await page.getByRole('button', { name: 'Cast it again' }).click();
      await page.waitForFunction(() => /Cast again in/.test(document.querySelector('p[aria-live]')?.textContent ?? ''), null, { timeout: 60_000 });
      // In other notes what was picked is another note: nothing is offered until one is picked in the page engraved anew.
      assert.equal(await page.getByRole('group', { name: 'The note picked' }).count(), 0);
      await page.locator('#proposals .set').first().waitFor({ timeout: 60_000 });
      await page.getByRole('button', { name: 'Take back' }).click();
      await page.waitForFunction(() => !/Set by hand/.test(document.querySelector('#proposals')?.textContent ?? ''));
    } else console.log('without the engraver no note is picked');
    // A sketch whose staves have the names of instruments.
    const names = { Melody: 'Violin', Answer: 'Oboe', Figure: 'Harp', Chords: 'Organ', Bass: 'Cello' };
    const text = Object.entries(names).reduce((now, [role, name]) => now.replace(`<part-name>${role}</part-name>`, `<part-name>${name}</part-name>`), readFileSync(SKETCH, 'utf8'));
    const path = join(folder, 'plain.musicxml');
    writeFileSync(path, text);
    await page.goto(`${desk.origin}/#/write`);
    await page.locator('input[type=file]').setInputFiles(path);
    await page.getByRole('grid').waitFor();
    await page.getByRole('button', { name: 'Give roles to the file’s own staves' }).click();
    const violin = page.getByRole('combobox', { name: /Role of the staff .*\(Violin\)/ });
    await violin.waitFor();
    await violin.selectOption('bass');
    await page.getByRole('combobox', { name: /Role of the staff Bass \(Violin\)/ }).waitFor();
    await page.getByRole('button', { name: 'Reduce by the roles found' }).click();
    await page.getByRole('button', { name: 'Give roles to the file’s own staves' }).waitFor();
    assert.deepEqual(page.troubles, []);
  });
});

test('what cannot be read is told in a sentence', async () => {
  await withDesk(async ({ browser, desk, folder }) => {
    const page = await newPage(browser, desk);
    await page.goto(`${desk.address}#/write`);
    const path = join(folder, 'broken.musicxml');
    writeFileSync(path, '<score-partwise><part');
    await page.locator('input[type=file]').setInputFiles(path);
    await page.getByRole('alert').getByText(/broken\.musicxml/).waitFor();
    await page.locator('input[type=file]').setInputFiles(SKETCH);
    await page.getByRole('grid').waitFor();
    assert.ok(readFileSync(DEMO).length > 0);
    await page.goto(`${desk.origin}/#/write/99`);
    await page.getByRole('alert').getByText('there is no draft 99').waitFor();
    assert.deepEqual(page.troubles, []);
  });
});

for (const colorScheme of ['light', 'dark']) {
  for (const width of [1440, 820]) {
    test(`writing has no barrier by WCAG 2.2 AA (axe-core): ${colorScheme}, ${width} px`, async () => {
      await withDesk(async ({ browser, desk }) => {
        const page = await newPage(browser, desk, { colorScheme, viewport: { width, height: 1000 }, reducedMotion: 'reduce' });
        const look = async (where) => {
          const { violations } = await new AxeBuilder({ page }).withTags(['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa']).analyze();
          assert.deepEqual(violations.map(({ id, nodes }) => `${where}: ${id}: ${nodes.map((node) => node.html.slice(0, 160)).join(' | ')}`), []);
          assert.ok(!(await page.evaluate(() => document.documentElement.scrollWidth > innerWidth)), `${where} scrolls sideways`);
        };
        await page.goto(`${desk.address}#/write`);
        await page.getByRole('button', { name: 'Choose a sketch' }).waitFor();
        await look('the beginning');
        await begun(page, desk);
        await page.getByRole('gridcell').first().click();
        await page.keyboard.press('m');
        await page.getByRole('gridcell', { name: /melody, set/ }).first().waitFor();
        await page.getByRole('button', { name: 'Change players' }).click();
        await look('the plan');
        await page.getByRole('combobox', { name: 'how many' }).selectOption('2');
        await page.getByRole('button', { name: 'Propose', exact: true }).click();
        await proposed(page, 2);
        await page.getByText('Ask the player. Stop on pain.').waitFor();
        await look('proposals');
        assert.deepEqual(page.troubles, []);
      });
    });
  }
}
