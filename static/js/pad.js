// The pad: weigh in with no wifi at all. Entries are kept on the phone first and sent from there, so that what is typed
// is safe whatever becomes of the network, the page or the browser.

import {
  ASKED, REFUSED, STORED, WAITING, ask, changes, drop, entries, keep, keepReading, keepSending, known, learn, me, send,
} from './queue.js';

const form = document.querySelector('#pad');
const list = document.querySelector('#entries');
const who = document.querySelector('#pad-who');
const line = document.querySelector('#pad-line');

/// The refused entry that is being typed again.
let replaced;

/// The lots as the box has them, or as the phone last knew them.
async function fillLots() {
  let lots;
  try {
    const answer = await ask('/api/v1/lots');
    if (answer.ok) {
      lots = (await answer.json()).filter((lot) => lot.state === 'open');
      await learn('lots', { at: new Date().toISOString(), lots });
    }
  } catch {
    // What was known before will do.
  }
  const last = lots ? undefined : await known('lots');
  lots ??= last?.lots ?? [];
  const chosen = form.lot.value || new URLSearchParams(location.search).get('lot');
  form.lot.replaceChildren(
    new Option('Which bag?', ''),
    ...lots.map((lot) => {
      const option = new Option(`${lot.container}: ${lot.grade_name}`, lot.id);
      option.dataset.seen = lot.net_micrograms;
      option.dataset.label = lot.container;
      return option;
    }),
  );
  form.lot.value = chosen ?? '';
  line.textContent = last
    ? `The box cannot be reached. These are the bags of ${when(last.at)}.`
    : lots.length === 0
      ? 'The box cannot be reached, and this phone has not seen its bags yet. Open this page once on the shop’s wifi.'
      : '';
  line.hidden = !line.textContent;
}

async function fillWho() {
  const now = await me();
  const last = now ?? (await known('me'));
  who.textContent = now === null ? 'Nobody is signed in: entries are kept until somebody is.' : last ? `${last.partner}, ${last.shop}` : '';
}

form.addEventListener('submit', async (event) => {
  event.preventDefault();
  const option = form.lot.selectedOptions[0];
  const problem = !form.lot.value ? 'Choose the bag first.' : !form.reading.value.trim() ? 'Type what the scale shows.' : '';
  const said = document.querySelector('#pad-problem');
  said.textContent = problem;
  said.hidden = !problem;
  if (problem) return;
  await keepReading({ lot: form.lot.value, ...option.dataset, fields: new FormData(form) });
  // The new one is safe: now the old one may go.
  if (replaced) await drop(replaced);
  replaced = undefined;
  form.reading.value = '';
  form.tare.value = '';
  form.pieces.value = '';
  form.reading.focus();
  send();
});

async function draw() {
  const all = (await entries()).reverse();
  list.replaceChildren(...all.map(ticket));
  document.querySelector('#none').hidden = all.length > 0;
}

function element(tag, text, className) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (className) made.className = className;
  return made;
}

function button(text, className, press) {
  const made = element('button', text, className);
  made.type = 'button';
  made.addEventListener('click', press);
  return made;
}

function ticket(entry) {
  const item = element('li', '', `ticket ${{ [STORED]: 'chosen', [ASKED]: 'attention', [REFUSED]: 'wrong' }[entry.state] ?? ''}`);
  const head = element('p', '', 'head');
  head.append(element('strong', entry.label), element('span', shown(entry), 'typed'));
  item.append(head);
  const stamp = { [WAITING]: ['waits', ''], [STORED]: [entry.address ? 'stored' : 'on the bag', 'gain'], [ASKED]: ['look at this', 'attention'], [REFUSED]: ['refused', 'loss'] }[entry.state];
  const state = element('p');
  state.append(element('span', stamp[0], `stamp ${stamp[1]}`), ` ${when(entry.at)}${entry.partner ? `, ${entry.partner}` : ''}`);
  item.append(state);
  const buttons = element('div', '', 'buttons');
  if (entry.state === STORED) {
    item.append(element('p', entry.told.net ? `${entry.told.net} put on: ${entry.label} held ${entry.told.total} then.` : entry.photo ? 'It is with its page’s photos.' : 'It is in the log.'));
    buttons.append(button('Done', 'plain', () => drop(entry.id)));
  }
  if (entry.state === ASKED) {
    item.append(element('p', `${entry.told.detail} What did the scale show?`));
    for (const meaning of entry.told.meanings) {
      buttons.append(button(meaning, '', () => again(entry, { reading: meaning, typed: entry.body.typed ?? entry.body.reading, confirmed: true })));
    }
  }
  if (entry.state === REFUSED) item.append(element('p', entry.told.detail || entry.told.title || 'The box did not take it.'));
  if (entry.state === ASKED || entry.state === REFUSED) {
    // An entry of a teardown is typed again on its own page.
    if (!entry.address) buttons.append(button('Type it again', 'plain', () => typeAgain(entry)));
  }
  if (entry.state !== STORED) {
    buttons.append(button('Drop it', 'risky', () => confirm(`Drop ${shown(entry)} on ${entry.label}?`) && drop(entry.id)));
  }
  item.append(buttons);
  return item;
}

/// What was entered, in a few words.
function shown({ photo, body }) {
  if (photo) return photo.size > 0 ? `photo, ${Math.max(photo.size / 1e6, 0.1).toFixed(1)} MB` : 'photo';
  return body.typed ?? body.reading ?? `timer: ${body.kind}`;
}

async function again(entry, changes) {
  await keep({ ...entry, state: WAITING, told: undefined, body: { ...entry.body, ...changes } });
  send();
}

/// Back into the fields; it counts as a new entry when it is kept again, and stays in the list until then.
function typeAgain(entry) {
  replaced = entry.id;
  form.lot.value = entry.body.lot;
  form.reading.value = entry.body.typed ?? entry.body.reading;
  form.tare.value = entry.body.tare ?? '';
  form.pieces.value = entry.body.pieces ?? '';
  form.holds.value = entry.body.whole_container ? 'container' : 'pieces';
  form.reading.focus();
}

function when(at) {
  return new Date(at).toLocaleString([], { weekday: 'short', hour: '2-digit', minute: '2-digit' });
}

changes.addEventListener('change', draw);
await Promise.all([fillLots(), fillWho(), draw()]);
keepSending();
// The browser keeps this page to show it without a network; while there is one, it gets the newest.
fetch('/pad', { cache: 'reload' }).catch(() => {});
addEventListener('online', () => Promise.all([fillLots(), fillWho()]));
setInterval(() => document.visibilityState === 'visible' && Promise.all([fillLots(), fillWho()]), 30_000);
