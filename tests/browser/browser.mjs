// Debian's Chromium, and what is watched while it shows a page.

import { existsSync } from 'node:fs';

import { chromium } from 'playwright-core';

import { cookieOf } from './shop.mjs';

const PLACES = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'];

// Headless as root, and asking nobody on the internet for anything.
const FLAGS = [
  '--no-sandbox',
  '--disable-gpu',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
];

/// The machine may be busy; a page is not.
const PATIENCE_MS = 20_000;

export const PHONE = { name: 'phone', width: 360, height: 780 };
export const LAPTOP = { name: 'laptop', width: 1200, height: 800 };

export function openBrowser() {
  const executablePath = process.env.CHROMIUM ?? PLACES.find((place) => existsSync(place));
  if (!executablePath) throw new Error('Chromium was not found. On Debian: apt-get install chromium');
  return chromium.launch({ executablePath, args: FLAGS });
}

/// A page of a phone, with `dots` for each CSS pixel, that is signed in where the shop let one in, with the list of everything that went wrong while it was open: errors in the console,
/// requests to other hosts, answers that failed.
export async function openPage(browser, address, { size = PHONE, scheme = 'light', scripts = true, dots = 1 } = {}) {
  const context = await browser.newContext({
    baseURL: address,
    colorScheme: scheme,
    deviceScaleFactor: dots,
    hasTouch: size === PHONE,
    javaScriptEnabled: scripts,
    locale: 'en-GB',
    reducedMotion: 'reduce',
    viewport: { width: size.width, height: size.height },
  });
  const cookie = cookieOf(address);
  if (cookie) {
    const [name, value] = cookie.split('=');
    await context.addCookies([{ name, value, url: address, httpOnly: true, sameSite: 'Lax' }]);
  }
  const page = await context.newPage();
  page.setDefaultTimeout(PATIENCE_MS);
  const troubles = [];
  page.on('console', (message) => {
    if (message.type() === 'error') troubles.push(`console on ${page.url()}: ${message.text()}`);
  });
  page.on('pageerror', (error) => troubles.push(`script on ${page.url()}: ${error}`));
  context.on('request', (request) => {
    const url = new URL(request.url());
    if (url.protocol !== 'data:' && url.origin !== address) troubles.push(`${page.url()} asks ${request.url()}`);
  });
  context.on('response', (response) => {
    if (response.status() >= 400) troubles.push(`${response.status()} from ${response.url()}`);
  });
  return { page, troubles, close: () => context.close() };
}

/// Does what leads to another page, and waits until that is there: the old one stays for a moment.
export async function answered(page, press) {
  await Promise.all([page.waitForEvent('domcontentloaded'), press()]);
  await page.waitForLoadState();
}
