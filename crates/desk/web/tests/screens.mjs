/** Pictures of the page for docs/screens: RIPIENO=... node tests/screens.mjs FOLDER */
import { join } from 'node:path';
import { asker, doneBy, engraverOrStop, isWeighed, isWhole, newPage, withDesk } from './desk.mjs';
import { draft } from './draft.mjs';

engraverOrStop();

const folder = process.argv[2];

await withDesk(async ({ browser, desk }) => {
  const ask = await asker(desk);
  let drafts = null;
  for (const colorScheme of ['light', 'dark']) {
    for (const [width, height] of [[1440, 900], [820, 1180], [3840, 2160]]) {
      const is4K = width === 3840;
      const page = await newPage(browser, desk, { colorScheme, viewport: { width, height }, reducedMotion: 'reduce' });
      const shot = async (name) => {
        await page.evaluate(() => document.activeElement?.blur());
        await page.mouse.move(2, 2);
        await page.waitForTimeout(350);
        await page.screenshot({ path: join(folder, `${name}-${width}-${colorScheme}.png`) });
      };
      await page.goto(desk.address);
      if (drafts === null) {
        await page.getByRole('button', { name: 'Choose a score' }).waitFor();
        await shot('first-start');
        await page.getByRole('button', { name: /demonstration overture/ }).click();
        await isWhole(page);
        drafts = [];
        for (const [title, ...change] of [['The Boat Goes Out, second draft'], ['The Boat Goes Out, for a smaller house', ['Trumpet 3 in B♭', 'Timpani'], 1, 103]]) {
          try {
            drafts.push(await doneBy(ask, (await (await ask(`/api/scores?name=${encodeURIComponent(title)}.musicxml`, { method: 'POST', body: draft(title, ...change) })).json()).job));
          } catch (error) {
            console.log(error.message);
          }
        }
        await ask('/api/scores/1/tags?tag=harbour', { method: 'POST' });
        await ask('/api/scores/1/tags?tag=as%20performed', { method: 'POST' });
        await ask(`/api/scores/${drafts[0]}/tags?tag=harbour`, { method: 'POST' });
      }
      await page.goto(`${desk.address}#/study/1`);
      await isWhole(page);
      await isWeighed(page);
      await shot('study');
      if (is4K) {
        if (page.troubles.length > 0) throw new Error(page.troubles.join('; '));
        await page.context().close();
        continue;
      }
      await page.getByText(/^What the estimate says/).click();
      await page.getByText(/^Two verdicts/).click();
      await shot('balance');
      await page.goto(`${desk.origin}/#/study/1?chosen=35-42`);
      await page.reload();
      await isWhole(page);
      await page.keyboard.press('e');
      await page.locator('.excerpt img').first().waitFor();
      await isWeighed(page);
      await page.waitForTimeout(3000);
      await shot('excerpt');
      await page.keyboard.press('e');
      await page.getByRole('button', { name: /^Heard/ }).click();
      await page.keyboard.press('p');
      await page.waitForTimeout(2500);
      await shot('listening');
      await page.getByRole('button', { name: 'Stop' }).click();
      await page.getByRole('button', { name: /^Heard/ }).click();
      await page.getByRole('button', { name: 'Take away' }).click();
      await page.waitForTimeout(1500);
      await shot('take-away');
      await page.keyboard.press('Escape');
      await page.keyboard.press('Escape');
      await page.getByRole('button', { name: 'Examples' }).click();
      await page.waitForTimeout(200);
      await shot('questions');
      await page.getByRole('button', { name: 'Examples' }).click();
      await page.getByRole('combobox', { name: 'Ask' }).fill('all brass play');
      await page.keyboard.press('Enter');
      await page.locator('.answer').getByRole('button', { name: '35–45' }).click();
      await page.getByRole('button', { name: 'Horns', exact: true }).click();
      const map = page.getByRole('application', { name: /^Role map/ });
      await map.focus();
      for (let row = 0; row < 5; row++) await page.keyboard.press('ArrowDown');
      await page.keyboard.press('Enter');
      await page.getByText('Why', { exact: true }).waitFor();
      await page.getByText('By estimate').last().waitFor();
      if (width < 1000) await page.getByText('Why', { exact: true }).scrollIntoViewIfNeeded();
      await shot('evidence');
      await page.keyboard.press('Escape');
      await page.getByRole('tab', { name: /Notes/ }).click();
      if ((await page.getByText('held back until here').count()) === 0) {
        await page.getByRole('textbox', { name: 'A note of your own' }).fill('Trombones and tuba were held back until here: thirty-four bars of waiting, and then the low chord all at once.');
        await page.getByRole('button', { name: 'Keep the note' }).click();
        await page.getByRole('textbox', { name: 'Bookmarks' }).fill('The first tutti');
        await page.getByRole('button', { name: 'Keep this view' }).click();
        await page.getByRole('link', { name: 'The first tutti' }).waitFor();
      }
      if (width < 1000) await page.getByRole('tab', { name: /Notes/ }).scrollIntoViewIfNeeded();
      await shot('own-notes');
      await page.getByRole('button', { name: 'Single notes' }).click();
      await page.getByRole('heading', { name: 'Register' }).scrollIntoViewIfNeeded();
      await page.locator('.stage').evaluate((stage) => stage.scrollTo(0, stage.scrollHeight));
      if (width < 1000) await page.getByRole('heading', { name: 'Register' }).evaluate((head) => head.scrollIntoView({ block: 'center' }));
      await shot('notes');
      await page.getByRole('button', { name: 'Families' }).click();
      await page.keyboard.press('0');
      await shot('register');
      await page.goto(`${desk.address}#/?ask=horns+have+melody`);
      await page.locator('#found .chip').first().waitFor();
      await shot('shelf');
      await page.getByRole('button', { name: 'SQL' }).click();
      await page.getByRole('button', { name: 'who has the melody' }).click();
      await page.locator('.sql table').waitFor();
      await shot('sql');
      await page.goto(`${desk.address}#/compare?a=1&b=${drafts[0]}`);
      await page.getByRole('heading', { name: 'What differs most' }).waitFor({ timeout: 120_000 });
      await page.waitForTimeout(300);
      await shot('compare');
      await page.getByRole('button', { name: 'Registers', exact: true }).click();
      await page.getByRole('button', { name: 'By rehearsal mark' }).click();
      await shot('compare-registers');
      await page.getByRole('heading', { name: 'What differs most' }).evaluate((head) => head.scrollIntoView());
      await shot('differences');
      if (page.troubles.length > 0) throw new Error(page.troubles.join('; '));
      await page.context().close();
    }
  }
});
