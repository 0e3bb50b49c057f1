// A partner at a page: says what they do in the words that stand there, and notes everything that is wrong on the way.

import { answered, openPage } from './browser.mjs';
import { faults } from './checks.mjs';

export async function openPartner(browser, address, { size, scheme, scripts }) {
  const { page, troubles, close } = await openPage(browser, address, { size, scheme, scripts });
  const found = [];
  const main = page.locator('main');
  const partner = {
    page,
    close,
    /// What was wrong on the pages looked at, and in the console and on the wire all the time.
    wrongs: () => [...found, ...troubles],
    look: async () => found.push(...(await faults(page, { scripts }))),
    go: (path) => page.goto(path),
    press: (words) => answered(page, () => main.getByRole('button', { name: words }).first().click()),
    follow: (words) => answered(page, () => main.getByRole('link', { name: words }).first().click()),
    fill: (label, text) => main.getByLabel(label, { exact: true }).fill(text),
    choose: (label, option) => main.getByLabel(label, { exact: true }).selectOption(option),
    pick: (label) => main.getByLabel(label).check(),
    text: (selector) => words(page.locator(selector).first()),
    heading: () => page.locator('h1').innerText(),
    figure: () => words(page.locator('.figure').first()),
    /// Opens a screen from the bar, or from the menu behind it on a phone.
    async open(screen) {
      const link = page.getByRole('navigation', { name: 'Screens' }).getByRole('link', { name: screen, exact: true });
      const visible = link.filter({ visible: true });
      if ((await visible.count()) === 0) await page.locator('nav summary').click();
      await answered(page, () => visible.first().click());
    },
  };
  return partner;
}

/// What stands there, with every white space a plain one.
async function words(locator) {
  return (await locator.innerText()).replace(/\s+/g, ' ').trim();
}
