// Clients that send a byte now and then, or never read their answer: they hold nobody else up, and are let go.

import { connect } from 'node:net';

import { Record, ask, lines, newId, pause, quantile, serve, setUp, weighing } from './shop.mjs';

const DRIPS = ['drips its head', 'drips its body'];
/// One in so many asks for more than its line holds and reads nothing: making the answers is work, which is not measured.
const NEVER_READS_NTH = 10;
const WORK_DONE_MS = 4000;
const DRIP_MS = 500;
/// When the last of them has been let go: the longest of the times in server/cli/connections.rs and server/web/arrival.rs.
const GONE_MS = 75_000;
const USUAL_MS = 250;
const SLOWEST_MS = 5000;

/// `rounds` clients of all kinds together. The short run does not wait until they are let go.
export async function stallRounds({ name, rounds, port, short }) {
  const record = new Record();
  const server = await serve(record, port);
  const shop = await setUp(server, 1);
  const before = lines(port).length;
  const stalled = Array.from({ length: rounds }, (_, nth) => stall(nth % NEVER_READS_NTH === 0 ? 'never reads' : DRIPS[nth % DRIPS.length]));
  await pause(short ? 1000 : WORK_DONE_MS);
  const took = [];
  const began = performance.now();
  const last = began + (short ? 2000 : 10_000);
  while (performance.now() < last) {
    for (const [method, path, how] of [
      ['GET', '/lots', { headers: { cookie: shop.cookie } }],
      ['POST', '/api/v1/weighings', weighing(shop, { id: newId(), lot: shop.lots[0], grams: 1 })],
    ]) {
      const asked = performance.now();
      const answer = await ask(shop.origin, method, path, how);
      if (answer.status !== 200) throw new Error(`${name}: ${method} ${path}: ${answer.status} ${answer.body}`);
      took.push(performance.now() - asked);
    }
  }
  if (quantile(took, 0.5) > USUAL_MS || Math.max(...took) > SLOWEST_MS) {
    throw new Error(`${name}: requests took ${took.map(Math.round)} ms beside them`);
  }
  const found = { clients: rounds, requests_beside_them: took.length, median_ms: Math.round(quantile(took, 0.5)), slowest_ms: Math.round(Math.max(...took)) };
  if (!short) {
    for (const kind of DRIPS) {
      const ends = stalled.filter((client) => client.kind === kind).map(({ gone }) => gone);
      const left = GONE_MS - (performance.now() - began);
      const after = await Promise.race([Promise.all(ends), pause(left).then(() => null)]);
      if (after === null) throw new Error(`${name}: one that ${kind} is still there after ${GONE_MS / 1000} s`);
      found[`let_go_one_that_${kind}_after_s`] = (Math.max(...after) / 1000).toFixed(1);
    }
    // Who reads nothing does not see that the line is cut; the server has closed its end.
    for (let open = lines(port); open.length > before; open = lines(port)) {
      if (performance.now() - began > GONE_MS) throw new Error(`${name}: lines are still open after ${GONE_MS / 1000} s:\n${open.join('\n')}`);
      await pause(200);
    }
    found.all_lines_closed_after_s = ((performance.now() - began) / 1000).toFixed(1);
    stalled.forEach(({ socket }) => socket.destroy());
  } else {
    stalled.forEach(({ socket }) => socket.destroy());
  }
  await server.kill(short ? 'SIGKILL' : 'SIGTERM');
  const faults = record.check();
  if (faults) throw new Error(`${name}: check says: ${faults}`);
  record.remove();
  return found;

  function stall(kind) {
    const { headers, body } = weighing(shop, { id: newId(), lot: shop.lots[0], grams: 1 });
    const host = `host: 127.0.0.1:${port}\r\n`;
    const began = performance.now();
    const socket = connect(port, '127.0.0.1');
    let dripping;
    const gone = new Promise((done) => socket.on('close', () => done(performance.now() - began)));
    gone.then(() => clearInterval(dripping));
    socket.on('error', () => {});
    const drip = (text) => {
      let at = 0;
      dripping = setInterval(() => socket.writable && socket.write(text[at++ % text.length]), DRIP_MS);
    };
    socket.on('connect', () => {
      if (kind === 'drips its head') {
        socket.resume();
        socket.write(`GET /lots HTTP/1.1\r\n${host}x-slow: `);
        drip('a');
      } else if (kind === 'drips its body') {
        socket.resume();
        socket.write(`POST /api/v1/weighings HTTP/1.1\r\n${host}authorization: ${headers.authorization}\r\ncontent-type: application/json\r\ncontent-length: ${body.length + 1000}\r\n\r\n`);
        drip(' ');
      } else {
        // Asks for many answers on one line and takes none of them.
        socket.pause();
        const request = `GET /grades HTTP/1.1\r\n${host}cookie: ${shop.cookie}\r\n\r\n`;
        socket.write(request.repeat(200));
      }
    });
    return { kind, socket, gone };
  }
}
