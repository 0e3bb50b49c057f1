// What has to hold on every page, whatever it shows.

import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';

const AXE = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

/// The least height of anything that a gloved thumb has to hit, in CSS pixels.
const LEAST_TARGET = 48;

/// Everything that is wrong with the page as it stands, a line each. axe-core is a script itself, so a page that was
/// opened without `scripts` is only measured.
export async function faults(page, { scripts = true } = {}) {
  return [...(await layoutFaults(page)), ...(scripts ? await accessibilityFaults(page) : [])];
}

/// The page fits its width, controls are large enough, and each field has a label.
export async function layoutFaults(page) {
  // After a click the page may be there before its style is.
  await page.waitForLoadState();
  const found = await page.evaluate((least) => {
    const faults = [];
    const root = document.documentElement;
    if (root.scrollWidth > root.clientWidth) {
      const wide = [...document.body.querySelectorAll('*')]
        .filter((element) => element.getBoundingClientRect().right > root.clientWidth + 1)
        .filter((element) => !element.closest('.scroll, .unseen'))
        .map(named);
      faults.push(`scrolls sideways (${root.scrollWidth} px in ${root.clientWidth} px) because of ${wide.slice(0, 3).join(', ')}`);
    }
    for (const control of document.querySelectorAll('a[href], button, input:not([type=hidden]), select, textarea, summary')) {
      const target = control.matches('[type=radio], [type=checkbox]') ? (control.closest('label') ?? control) : control;
      const box = target.getBoundingClientRect();
      // Nothing to see, or out of the page until the keyboard reaches it.
      if (!target.checkVisibility() || box.width <= 1 || box.right < 0) continue;
      if (Math.round(box.height) < least && !isInText(target)) {
        faults.push(`${named(control)} is ${Math.round(box.height)} px high; ${least} px is the least`);
      }
      const isField = control.matches('input:not([type=submit]), select, textarea');
      if (isField && !control.labels?.length && !control.getAttribute('aria-label')) {
        faults.push(`${named(control)} has no label`);
      }
    }
    return faults;

    /// A link in a running text is as high as its line (the exception of WCAG 2.2, criterion 2.5.8).
    function isInText(element) {
      if (element.tagName !== 'A' || getComputedStyle(element).display !== 'inline') return false;
      const around = element.closest('p, li, td, dd, span, legend, figcaption');
      return around !== null && around.textContent.trim().length > element.textContent.trim().length;
    }

    function named(element) {
      const words = (element.textContent || element.name || '').trim().replace(/\s+/g, ' ').slice(0, 30);
      return `<${element.tagName.toLowerCase()} class="${element.getAttribute('class') ?? ''}">${words}`;
    }
  }, LEAST_TARGET);
  return found.map((fault) => `${path(page)}: ${fault}`);
}

/// What axe-core calls serious or critical.
async function accessibilityFaults(page) {
  // It is a long script to read, and stays in the page that was opened.
  if ((await page.evaluate('typeof axe')) === 'undefined') await page.evaluate(`${AXE}; null`);
  const violations = await page.evaluate(`(${runAxe})(${JSON.stringify(NOT_TOLD)})`);
  return violations
    .filter(({ impact }) => impact === 'serious' || impact === 'critical')
    .map(({ id, help, where, more }) => `${path(page)}: ${id}, ${help}: ${where.slice(0, 160)}${more ? ` and ${more} more` : ''}`);
}

/// Rules that axe-core calls moderate at most and that take long: what they find is not told here.
const NOT_TOLD = ['region', 'landmark-one-main', 'landmark-unique', 'heading-order', 'page-has-heading-one', 'empty-heading', 'skip-link'];

/// Run in the page.
async function runAxe(notTold) {
  const options = { resultTypes: ['violations'], rules: Object.fromEntries(notTold.map((rule) => [rule, { enabled: false }])) };
  const { violations } = await axe.run(document, options);
  return violations.map(({ id, impact, help, nodes }) => ({ id, impact, help, where: nodes[0].html, more: nodes.length - 1 }));
}

function path(page) {
  const { pathname, search } = new URL(page.url());
  return pathname + search;
}
