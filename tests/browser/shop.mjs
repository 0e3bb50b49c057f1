// The built program on a demo of its own, at a port of its own, for as long as the tests need it.

import { spawn } from 'node:child_process';
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { fileURLToPath } from 'node:url';

const PROGRAM = process.env.PENNYWEIGHT ?? fileURLToPath(new URL('../../target/debug/pennyweight', import.meta.url));
const PATIENCE_MS = 60_000;

/// Starts the demo and waits until it prints its address. `stop()` ends it and removes what it kept.
export async function openShop() {
  const data = await mkdtemp(join(tmpdir(), 'pennyweight-browser-'));
  const { DATABASE_URL, ...environment } = process.env;
  const program = spawn(PROGRAM, ['demo', '--data', data, '--listen', '127.0.0.1:0'], {
    env: { ...environment, PENNYWEIGHT_LOG: 'warn' },
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  const stop = async () => {
    if (program.exitCode === null && program.signalCode === null) {
      const ended = new Promise((end) => program.once('exit', end));
      program.kill('SIGTERM');
      await ended;
    }
    await rm(data, { recursive: true, force: true });
  };
  try {
    return { address: await printedAddress(program), stop };
  } catch (error) {
    await stop();
    throw error;
  }
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
