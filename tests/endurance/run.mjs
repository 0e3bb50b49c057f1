// Runs the measures that are named, or all of them. See DEVELOPERS.md.

import { parseArgs } from 'node:util';

import { abortRounds } from './abort.mjs';
import { junkRounds } from './junk.mjs';
import { killRounds } from './kill.mjs';
import { phoneRounds } from './phones.mjs';
import { stallRounds } from './stall.mjs';
import { FIRST_PORT, openPostgres } from './shop.mjs';

/// What each measure counts, in full and in the short run that the tests do.
const COUNTS = {
  kill: { full: { sqlite: 300, postgres: 100 }, short: { sqlite: 5, postgres: 3 } },
  abort: { full: { sqlite: 10_000, postgres: 10_000 }, short: { sqlite: 200, postgres: 200 } },
  junk: { full: { sqlite: 10_000 }, short: { sqlite: 1_000 } },
  stall: { full: { sqlite: 60 }, short: { sqlite: 20 } },
  // How long answers take is worth knowing of a release build only.
  phones: { full: { sqlite: 300, postgres: 300 }, short: {} },
};
const MEASURES = { kill: killRounds, abort: abortRounds, junk: junkRounds, stall: stallRounds, phones: phoneRounds };

const { values: options, positionals } = parseArgs({
  allowPositionals: true,
  options: { short: { type: 'boolean' }, count: { type: 'string' }, on: { type: 'string' } },
});
const names = positionals.length > 0 ? positionals : Object.keys(MEASURES);
const unknown = names.find((name) => !(name in MEASURES));
if (unknown) throw new Error(`there is no measure “${unknown}”, only ${Object.keys(MEASURES).join(', ')}`);

let postgres;
let databases = 0;
try {
  for (const name of names) {
    for (const [database, count] of Object.entries(COUNTS[name][options.short ? 'short' : 'full'])) {
      if (options.on && options.on !== database) continue;
      const began = performance.now();
      const what = `${name} on ${database}`;
      const address = database === 'postgres' ? await freshDatabase() : undefined;
      const found = await MEASURES[name]({
        name: what,
        rounds: Number(options.count ?? count),
        port: FIRST_PORT,
        database: address,
        psql: postgres?.psql,
        short: options.short,
      });
      const figures = Object.entries(found).map(([key, value]) => `${key.replaceAll('_', ' ')} ${value}`);
      console.log(`${what}: ${figures.join(', ')} (${((performance.now() - began) / 1000).toFixed(1)} s)`);
    }
  }
} finally {
  await postgres?.stop();
}

async function freshDatabase() {
  postgres ??= await openPostgres();
  databases += 1;
  return postgres.fresh(`endurance_${databases}`);
}
