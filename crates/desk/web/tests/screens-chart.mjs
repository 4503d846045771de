/** Pictures of the charts for docs/screens: RIPIENO=... node tests/screens-chart.mjs FOLDER */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { asker, doneBy, engraverOrStop, newPage, withDesk } from './desk.mjs';

engraverOrStop();

const CHART = new URL('../../../../demo/chart_lifeboat.toml', import.meta.url).pathname;
const folder = process.argv[2];

await withDesk(async ({ browser, desk }) => {
  const ask = await asker(desk);
  const score = await doneBy(ask, (await (await ask('/api/scores?name=chart_lifeboat.toml', { method: 'POST', body: readFileSync(CHART) })).json()).job);
  for (const colorScheme of ['light', 'dark']) {
    for (const [width, height] of [[1440, 900], [820, 1180]]) {
      const page = await newPage(browser, desk, { colorScheme, viewport: { width, height }, reducedMotion: 'reduce' });
      const shot = async (name) => {
        await page.mouse.move(2, 2);
        await page.evaluate(() => scrollTo(0, 0));
        await page.waitForTimeout(400);
        await page.screenshot({ path: join(folder, `${name}-${width}-${colorScheme}.png`) });
      };
      await page.goto(desk.address);
      await page.goto(`${desk.origin}/#/chart`);
      await page.getByRole('textbox', { name: 'Title' }).fill('Quay');
      await shot('chart-begin');
      await page.goto(`${desk.origin}/#/chart/${score}`);
      const grid = page.getByRole('application', { name: /Grid/ });
      await grid.waitFor();
      await grid.focus();
      for (let step = 0; step < 3; step++) await page.keyboard.press('Shift+ArrowRight');
      await shot('chart');
      await page.goto(`${desk.origin}/#/study/${score}`);
      await page.getByText('This is a chart').first().waitFor();
      await page.waitForTimeout(800);
      await shot('chart-study');
      if (page.troubles.length > 0) throw new Error(page.troubles.join('; '));
      await page.context().close();
    }
  }
});
