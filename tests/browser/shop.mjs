// The built program with a record and a port of its own, for as long as the tests need it.

import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

const PROGRAM = process.env.PENNYWEIGHT ?? fileURLToPath(new URL('../../target/debug/pennyweight', import.meta.url));
const PATIENCE_MS = 60_000;

/// The cookie of a partner's phone, by the address of the shop that it is signed in to.
const cookies = new Map();

/// What a phone that is signed in to the shop at an address sends along; undefined where nobody has come in yet.
export const cookieOf = (address) => cookies.get(address);

/// Starts the program, with the demo's record or with none yet (`serve`), and waits until it prints its address. In the
/// demo a phone is signed in; `wayIn` is the page that the printed code opens. `stop()` ends the program and removes what
/// it kept; `switchOff()` only ends it, and `switchOn()` starts it again at the same address.
export async function openShop(command = 'demo') {
  const data = await mkdtemp(join(tmpdir(), 'pennyweight-browser-'));
  const first = await start(command, data, '127.0.0.1:0');
  let program = first.program;
  const { origin: address, pathname, search, host } = new URL(first.printed);
  const wayIn = pathname + search;
  if (command === 'demo') cookies.set(address, await comeIn(address + wayIn));
  const switchOff = () => end(program);
  const switchOn = async () => {
    ({ program } = await start(command, data, host));
  };
  const stop = async () => {
    await switchOff();
    await rm(data, { recursive: true, force: true });
  };
  return { address, wayIn, cookie: cookies.get(address), stop, switchOff, switchOn };
}

async function start(command, data, listen) {
  const { DATABASE_URL, ...environment } = process.env;
  const program = spawn(PROGRAM, [command, '--data', data, '--listen', listen], {
    env: { ...environment, PENNYWEIGHT_LOG: 'warn' },
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  // Said here, because all that follows is pages that are missing.
  program.once('exit', (code, signal) => {
    if (!ended.has(program)) console.error(`${PROGRAM} ended while it was needed: ${signal ?? code}`);
  });
  try {
    return { program, printed: await printedAddress(program) };
  } catch (error) {
    await end(program);
    throw error;
  }
}

/// Programs that were told to end.
const ended = new WeakSet();

async function end(program) {
  ended.add(program);
  if (program.exitCode !== null || program.signalCode !== null) return;
  const gone = new Promise((done) => program.once('exit', done));
  program.kill('SIGTERM');
  await gone;
}

/// Sends the form of the page that the code opens, as the person does who reads it off the terminal.
async function comeIn(address) {
  const code = new URL(address).searchParams.get('code');
  const answer = await fetch(new URL('/join', address), {
    method: 'POST',
    body: new URLSearchParams({ code }),
    redirect: 'manual',
  });
  const cookie = answer.headers.get('set-cookie')?.split(';')[0];
  if (!cookie) throw new Error(`${address} let nobody in: ${answer.status}`);
  return cookie;
}

function printedAddress(program) {
  return new Promise((found, failed) => {
    const late = setTimeout(() => failed(new Error(`${PROGRAM} printed no address within a minute`)), PATIENCE_MS);
    program.once('error', failed);
    program.once('exit', (code) => failed(new Error(`${PROGRAM} ended with ${code} before it printed an address`)));
    createInterface({ input: program.stdout }).on('line', (line) => {
      const address = line.match(/on this machine\s+(http:\/\/\S+)/);
      if (address) {
        clearTimeout(late);
        found(address[1]);
      }
    });
  });
}
