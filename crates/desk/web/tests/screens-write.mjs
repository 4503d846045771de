/** Pictures of the writing page for docs/screens: RIPIENO=... node tests/screens-write.mjs FOLDER */
import { join } from 'node:path';
import { asker, doneBy, engraverOrStop, newPage, withDesk } from './desk.mjs';

engraverOrStop();

const folder = process.argv[2];

await withDesk(async ({ browser, desk }) => {
  const ask = await asker(desk);
  const score = await doneBy(ask, (await (await ask('/api/demo', { method: 'POST' })).json()).job);
  let isFirst = true;
  for (const colorScheme of ['light', 'dark']) {
    for (const [width, height] of [[1440, 900], [820, 1180]]) {
      const page = await newPage(browser, desk, { colorScheme, viewport: { width, height }, reducedMotion: 'reduce' });
      const shot = async (name) => {
        await page.mouse.move(2, 2);
        await page.waitForTimeout(400);
        await page.screenshot({ path: join(folder, `${name}-${width}-${colorScheme}.png`) });
      };
      const to = (id) => page.evaluate((place) => document.getElementById(place)?.scrollIntoView({ block: 'start' }), id);
      await page.goto(`${desk.address}#/write`);
      if (isFirst) {
        isFirst = false;
        await page.getByRole('button', { name: 'Take the demonstration sketch' }).click();
        await page.getByRole('grid').waitFor();
        // The tune in octaves for the trumpets, the low brass held back at first.
        await page.getByRole('gridcell', { name: /^Trumpet/ }).first().click();
        await page.keyboard.press('m');
        await page.getByRole('combobox', { name: 'Doubled' }).selectOption('octaves');
        await page.getByRole('gridcell', { name: /^Tuba/ }).first().click();
        await page.keyboard.press('s');
        await page.getByRole('gridcell', { name: /^Tuba.*tacet, set/ }).first().waitFor();
        await page.getByRole('button', { name: 'Propose', exact: true }).click();
        await page.getByRole('article', { name: 'Proposal 3' }).waitFor({ timeout: 120_000 });
        await page.goto(`${desk.origin}/#/write`);
      }
      await page.getByRole('link', { name: /The Boat Goes Out/ }).first().waitFor();
      await shot('write-begin');
      await page.goto(`${desk.origin}/#/write/1`);
      await page.getByRole('grid').waitFor();
      await page.waitForTimeout(2500);
      await shot('write-sketch');
      await to('plan');
      await shot('write-plan');
      await to('proposals');
      await shot('write-proposals');
      await page.getByRole('button', { name: 'See the score' }).click();
      await page.locator('#proposals img, #proposals .say').first().waitFor({ timeout: 120_000 });
      const paper = page.getByRole('application', { name: /engraved/ }).last();
      await paper.focus();
      await page.keyboard.press('Home');
      await paper.evaluate((one) => one.scrollIntoView({ block: 'center' }));
      await page.waitForTimeout(800);
      await shot('write-notes');
      await page.getByRole('button', { name: 'Fold the score away' }).click();
      await to('objections');
      await page.getByText('Stop on pain').waitFor();
      await shot('write-objections');
      await to('parts');
      await shot('write-parts');
      await page.goto(`${desk.origin}/#/write/check/${score}`);
      await page.getByText('Stop on pain').waitFor();
      await shot('write-check');
      if (page.troubles.length > 0) throw new Error(page.troubles.join('; '));
      await page.context().close();
    }
  }
});
