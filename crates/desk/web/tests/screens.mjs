/** Pictures of the page for docs/screens: RIPIENO=... node tests/screens.mjs FOLDER */
import { join } from 'node:path';
import { isWhole, newPage, withDesk } from './desk.mjs';

const folder = process.argv[2];

await withDesk(async ({ browser, desk }) => {
  for (const colorScheme of ['light', 'dark']) {
    for (const [width, height] of [[1440, 900], [820, 1180]]) {
      const page = await newPage(browser, desk, { colorScheme, viewport: { width, height } });
      const shot = (name) => page.screenshot({ path: join(folder, `${name}-${width}-${colorScheme}.png`) });
      await page.goto(desk.address);
      if (colorScheme === 'light' && width === 1440) {
        await page.getByRole('button', { name: 'Choose a score' }).waitFor();
        await shot('first-start');
      }
      await page.getByRole('button', { name: /demonstration overture/ }).click();
      await isWhole(page);
      await page.waitForTimeout(300);
      await shot('study');
      await page.getByRole('textbox', { name: 'Ask' }).fill('all brass play');
      await page.keyboard.press('Enter');
      await page.locator('.answer').getByRole('button', { name: '35–45' }).click();
      await page.getByRole('button', { name: 'Horns', exact: true }).click();
      const map = page.getByRole('application');
      await map.focus();
      for (let row = 0; row < 5; row++) await page.keyboard.press('ArrowDown');
      await page.keyboard.press('Enter');
      await page.getByText('Why', { exact: true }).waitFor();
      await page.evaluate(() => document.activeElement?.blur());
      if (width < 1000) await page.getByText('Why', { exact: true }).scrollIntoViewIfNeeded();
      await page.waitForTimeout(300);
      await shot('evidence');
      if (width === 1440) {
        await page.keyboard.press('Escape');
        await page.getByRole('button', { name: 'Single notes' }).click();
        await page.getByRole('heading', { name: 'Register' }).scrollIntoViewIfNeeded();
        await page.locator('.stage').evaluate((stage) => stage.scrollTo(0, stage.scrollHeight));
        await page.waitForTimeout(300);
        await shot('notes');
        await page.getByRole('button', { name: 'Families' }).click();
        await page.keyboard.press('0');
        await page.waitForTimeout(300);
        await shot('register');
        await page.locator('button.home').click();
        await page.getByRole('link', { name: /The Boat Goes Out/ }).waitFor();
        await page.waitForTimeout(300);
        await shot('shelf');
      }
      if (page.troubles.length > 0) throw new Error(page.troubles.join('; '));
      await page.context().close();
    }
  }
});
