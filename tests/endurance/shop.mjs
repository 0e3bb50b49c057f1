// The built program as a process that can be killed, on a record of its own in a folder or in a throw-away Postgres, and a
// device with a key that talks to its API.

import { execFileSync, spawn } from 'node:child_process';
import { randomBytes } from 'node:crypto';
import { existsSync, mkdtempSync, readFileSync, readdirSync, rmSync } from 'node:fs';
import { Agent, request } from 'node:http';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

export const PROGRAM = process.env.PENNYWEIGHT ?? fileURLToPath(new URL('../../target/debug/pennyweight', import.meta.url));
/// Where servers listen: the first port of a hundred.
export const FIRST_PORT = Number(process.env.ENDURANCE_PORT ?? 18100);
const PASSPHRASE = 'copper kettle on thursday';
const PATIENCE_MS = 60_000;

export const pause = (ms) => new Promise((done) => setTimeout(done, ms));

/// What goes with this process, whatever ends it.
const running = new Set();
process.on('exit', () => running.forEach((child) => child.kill('SIGKILL')));
for (const signal of ['SIGINT', 'SIGTERM']) process.on(signal, () => process.exit(1));

/// A record in a folder, and in Postgres where `database` is the address of one.
export class Record {
  constructor(database) {
    this.folder = mkdtempSync(join(tmpdir(), 'pennyweight-endurance-'));
    this.database = database;
  }

  environment() {
    const { DATABASE_URL, ...environment } = process.env;
    const place = this.database ? { DATABASE_URL: this.database } : {};
    return { ...environment, ...place, PENNYWEIGHT_DATA: this.folder, PENNYWEIGHT_LOG: process.env.PENNYWEIGHT_LOG ?? 'error' };
  }

  /// What `pennyweight check` finds wrong; empty where the record is sound.
  check() {
    try {
      execFileSync(PROGRAM, ['check'], { env: this.environment(), stdio: 'pipe' });
      return '';
    } catch (error) {
      return `${error.stdout}${error.stderr}` || String(error);
    }
  }

  remove() {
    rmSync(this.folder, { recursive: true, force: true });
  }
}

/// Starts the program on a record and waits until it answers.
export async function serve(record, port, command = 'serve', options = []) {
  const listen = `127.0.0.1:${port}`;
  const child = spawn(PROGRAM, [command, '--no-mdns', '--no-backups', '--listen', listen, ...options], {
    env: record.environment(),
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const gone = new Promise((done) => child.once('exit', (code, signal) => done(signal ?? code)));
  running.add(child);
  gone.then(() => running.delete(child));
  const began = performance.now();
  const code = await new Promise((found, failed) => {
    let setUp = null;
    const late = setTimeout(() => failed(new Error('the program did not open within a minute')), PATIENCE_MS);
    gone.then((how) => failed(new Error(`the program ended with ${how} before it opened`)));
    createInterface({ input: child.stdout }).on('line', (line) => {
      setUp = line.match(/code=([0-9A-Z-]+)/i)?.[1] ?? setUp;
      if (line.includes('Ctrl-C')) {
        clearTimeout(late);
        found(setUp);
      }
    });
  });
  const server = { child, code, gone, origin: `http://${listen}`, port, started: 0 };
  await until(async () => (await ask(server.origin, 'GET', '/healthz')).status === 200);
  server.started = performance.now() - began;
  server.kill = async (signal = 'SIGKILL') => {
    child.kill(signal);
    return gone;
  };
  return server;
}

async function until(holds) {
  const last = Date.now() + PATIENCE_MS;
  let why;
  for (;;) {
    if (await holds().catch((error) => void (why = error))) return;
    if (Date.now() > last) throw new Error('it did not come to hold within a minute', { cause: why });
    await pause(2);
  }
}

/// Sends a request and reads the answer whole. Rejects where the connection breaks. `heard` is called with each piece of
/// the answer as it comes.
export function ask(origin, method, path, { headers = {}, body, agent, signal, heard, timeout = PATIENCE_MS } = {}) {
  return new Promise((done, failed) => {
    const sent = request(origin + path, { method, headers, agent, signal, timeout }, (answer) => {
      const parts = [];
      answer.on('data', (part) => {
        parts.push(part);
        heard?.(part);
      });
      answer.on('end', () => done({ status: answer.statusCode, headers: answer.headers, body: Buffer.concat(parts) }));
      answer.on('error', failed);
      answer.on('close', () => answer.complete || failed(new Error('the answer was cut off')));
    });
    sent.on('timeout', () => sent.destroy(new Error(`no answer to ${method} ${path} in time`)));
    sent.on('error', failed);
    sent.end(body);
  });
}

/// What a page's forms hold as they come, by name.
function fields(page) {
  const value = (tag) => tag.match(/ value="([^"]*)"/)?.[1] ?? '';
  const inputs = [...page.matchAll(/<input\b[^>]*? name="([^"]+)"[^>]*>/g)].map(([tag, name]) => [name, value(tag)]);
  const selects = [...page.matchAll(/<select\b[^>]*? name="([^"]+)"[^>]*>(.*?)<\/select>/gs)].map(([, name, options]) => {
    const tags = options.match(/<option[^>]*>/g) ?? [''];
    return [name, value(tags.find((tag) => tag.includes(' selected')) ?? tags[0])];
  });
  return Object.fromEntries([...selects, ...inputs]);
}

/// Opens a page and sends its form, filled in.
async function fillIn(origin, address, action, cookie, filled) {
  const headers = { 'content-type': 'application/x-www-form-urlencoded', origin, ...(cookie && { cookie }) };
  const page = await ask(origin, 'GET', address, { headers: cookie ? { cookie } : {} });
  const { form_token, ...others } = fields(page.body.toString());
  // It comes first, as on the page.
  const form = { ...(form_token && { form_token }), ...others, ...filled };
  const answer = await ask(origin, 'POST', action, { headers, body: new URLSearchParams(form).toString() });
  return { form, answer };
}

/// Sets a new shop up as its first partner does, with lots and a key for a device.
export async function setUp(server, lots) {
  const { origin, code } = server;
  const settings = { name: 'Heron Street Salvage', partner_1: 'Imke', passphrase: PASSPHRASE, passphrase_again: PASSPHRASE };
  const { answer } = await fillIn(origin, `/shop/new?code=${code}`, '/shop/new', undefined, settings);
  const cookie = answer.headers['set-cookie']?.[0].split(';')[0];
  if (answer.status !== 303 || !cookie) throw new Error(`the shop was not set up: ${answer.status} ${answer.body}`);
  const shop = { origin, cookie, lots: [] };
  for (let nth = 1; nth <= lots; nth += 1) {
    const bag = { grade: 'copper-2', label: `Bag ${nth}`, kind: 'bag', tare: '2 oz' };
    const opened = await fillIn(origin, '/lots/new', '/lots/new', cookie, bag);
    if (opened.answer.status !== 303) throw new Error(`no lot was opened: ${opened.answer.status} ${opened.answer.body}`);
    shop.lots.push(opened.form.lot_id);
  }
  shop.key = await makeKey(origin, cookie);
  return shop;
}

async function makeKey(origin, cookie) {
  const { answer } = await fillIn(origin, '/keys', '/keys', cookie, { name: 'endurance' });
  const key = answer.body.toString().match(/>\s*([0-9a-f]{64})\s*</)?.[1];
  if (!key) throw new Error(`no key was shown: ${answer.status} ${answer.body}`);
  return key;
}

/// The demo's shop, with something on every screen.
export async function openDemo(record, port) {
  const server = await serve(record, port, 'demo');
  const { origin, code } = server;
  const { answer } = await fillIn(origin, `/join?code=${code}`, '/join', undefined, { code });
  const cookie = answer.headers['set-cookie']?.[0].split(';')[0];
  if (!cookie) throw new Error(`the demo let nobody in: ${answer.status} ${answer.body}`);
  const shop = { origin, cookie, key: await makeKey(origin, cookie) };
  const lots = await ask(origin, 'GET', '/api/v1/lots', { headers: { authorization: `Bearer ${shop.key}` } });
  shop.lots = JSON.parse(lots.body).filter(({ state }) => state === 'open').map(({ id }) => id);
  return { server, shop };
}

/// A UUID of version 7 (RFC 9562), as a phone makes it.
export function newId() {
  const bytes = randomBytes(16);
  bytes.writeUIntBE(Date.now(), 0, 6);
  bytes[6] = 0x70 | (bytes[6] & 0x0f);
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  return bytes.toString('hex').replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, '$1-$2-$3-$4-$5');
}

export const agent = (most = 64) => new Agent({ keepAlive: true, maxSockets: most });

/// The head and body of a weighing for the API.
export function weighing(shop, entry) {
  const headers = { authorization: `Bearer ${shop.key}`, 'content-type': 'application/json' };
  return { headers, body: JSON.stringify({ id: entry.id, lot: entry.lot, reading: `${entry.grams} g`, confirmed: true }) };
}

/// Each lot's mass in whole grams, by its id.
export async function shelf(shop) {
  const answer = await ask(shop.origin, 'GET', '/api/v1/lots', { headers: { authorization: `Bearer ${shop.key}` } });
  if (answer.status !== 200) throw new Error(`the lots cannot be read: ${answer.status} ${answer.body}`);
  return new Map(JSON.parse(answer.body).map((lot) => [lot.id, Number(lot.net_grams)]));
}

/// A throw-away Postgres on its own socket, with everything as durable as it comes.
export async function openPostgres() {
  const bin = binaries();
  const folder = mkdtempSync(join(tmpdir(), 'pennyweight-endurance-postgres-'));
  const asPostgres = process.getuid() === 0 ? ['setpriv', '--reuid', 'postgres', '--regid', 'postgres', '--init-groups'] : ['env'];
  const run = (...command) => execFileSync(asPostgres[0], [...asPostgres.slice(1), ...command], { cwd: '/', stdio: 'pipe' });
  if (process.getuid() === 0) execFileSync('chown', ['postgres:postgres', folder]);
  run(join(bin, 'initdb'), '--pgdata', join(folder, 'data'), '--username', 'postgres', '--auth', 'trust', '--encoding', 'UTF8', '--locale', 'C');
  const options = ['-D', join(folder, 'data'), '-k', folder, '-c', 'listen_addresses=', '-c', 'max_connections=100'];
  const child = spawn(asPostgres[0], [...asPostgres.slice(1), join(bin, 'postgres'), ...options], { cwd: '/', stdio: 'ignore' });
  running.add(child);
  child.once('exit', () => running.delete(child));
  const psql = (database, sql) => run(join(bin, 'psql'), '-h', folder, '-U', 'postgres', '-d', database, '-Atc', sql).toString().trim();
  await until(async () => psql('postgres', 'SELECT 1') === '1');
  return {
    psql,
    fresh(name) {
      psql('postgres', `CREATE DATABASE ${name}`);
      return `postgres:///${name}?host=${folder}&user=postgres`;
    },
    async stop() {
      const gone = new Promise((done) => child.once('exit', done));
      child.kill('SIGINT');
      await gone;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}

/// As in /proc/net/tcp.
const LISTENS = '0A';
const NEEDED = ['initdb', 'postgres', 'psql'];

export function binaries() {
  const debian = existsSync('/usr/lib/postgresql') ? readdirSync('/usr/lib/postgresql') : [];
  const newest = debian.map(Number).sort((a, b) => b - a).map((version) => `/usr/lib/postgresql/${version}/bin`);
  const found = [...process.env.PATH.split(':'), ...newest].find((folder) => NEEDED.every((name) => existsSync(join(folder, name))));
  if (!found) throw new Error('Postgres was not found. On Debian: apt-get install postgresql');
  return found;
}

/// Resident memory of a process, in megabytes.
export function memory(pid) {
  return Number(readFileSync(`/proc/${pid}/status`, 'utf8').match(/VmRSS:\s+(\d+)/)[1]) / 1024;
}

/// The value that this share of a sorted list is below.
export function quantile(values, share) {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))] ?? 0;
}

/// The lines a server holds open on its port, all of them or those from one address, as the system tells of them. Files are
/// not counted: a database opens more of them whenever it sees fit.
export function lines(port, from = null) {
  const rows = readFileSync('/proc/net/tcp', 'utf8').split('\n').slice(1).filter(Boolean);
  const here = `:${port.toString(16).toUpperCase().padStart(4, '0')}`;
  const peer = from && from.split('.').reverse().map((byte) => Number(byte).toString(16).toUpperCase().padStart(2, '0')).join('');
  return rows.filter((row) => {
    const [, local, remote, state, , , , , , inode] = row.trim().split(/\s+/);
    // What listens is not a line, and what has no inode is not the server's: nobody has taken it, or it was closed.
    return local.endsWith(here) && state !== LISTENS && inode !== '0' && (!peer || remote.startsWith(peer));
  });
}
