// On every page: how many entries wait on this phone, and a form that cannot reach the box is kept instead of lost.

import {
  ASKED, REFUSED, WAITING, ask, changes, entries, keepPhoto, keepReading, keepSending, keepTeardownEntry, me,
} from './queue.js';

const bar = document.querySelector('#waiting');

async function count() {
  const open = (await entries()).filter((entry) => [WAITING, ASKED, REFUSED].includes(entry.state));
  const looked = open.filter((entry) => entry.state !== WAITING).length;
  bar.hidden = open.length === 0;
  if (open.length === 0) return;
  const link = bar.querySelector('a');
  // Photos, and weights and times of a teardown, go to addresses of their own.
  const [one, more] = open.some((entry) => entry.address) ? ['entry waits', 'entries wait'] : ['weighing waits', 'weighings wait'];
  const many = open.length === 1 ? `1 ${one}` : `${open.length} ${more}`;
  link.textContent = looked > 0 ? `${many} on this phone, ${looked} to look at` : `${many} on this phone`;
}

/// Whether the box can be reached just now.
async function reached() {
  try {
    return (await ask('/healthz', { signal: AbortSignal.timeout(4000) })).ok;
  } catch {
    return false;
  }
}

/// What was typed or taken while the wifi went away is kept on the phone: a reading for a lot, an entry of a teardown, a
/// photo.
async function keepForm(form) {
  const fields = new FormData(form);
  const reading = form.querySelector('[name=reading]');
  const { keptEntry: kind, keptPhoto: photos, teardown } = form.dataset;
  const label = document.querySelector('h1').textContent;
  if (photos) {
    await keepPhoto({ address: photos, label, photo: fields.get('file') });
    form.file.value = '';
  } else if (kind) {
    await keepTeardownEntry({ teardown, kind, label, reading: reading?.value.trim() });
  } else {
    // The bag is the form's, or the one that is chosen in it.
    const { lot, label, seen } = form.querySelector('select[name=lot]')?.selectedOptions[0]?.dataset ?? form.dataset;
    await keepReading({ lot, label, seen, fields });
  }
  if (reading) reading.value = '';
  say(form, '');
}

/// Shows that the entry is kept, or why it is not.
function say(form, problem) {
  const kept = form.querySelector('.kept');
  let refused = kept.nextElementSibling;
  if (!refused.matches('.not-kept')) {
    refused = document.createElement('p');
    refused.className = 'notice wrong not-kept';
    refused.role = 'alert';
    kept.after(refused);
  }
  refused.textContent = problem;
  refused.hidden = problem === '';
  kept.hidden = problem !== '';
  (problem ? refused : kept).scrollIntoView({ block: 'nearest' });
}

/// Whether there is something in a form to keep.
function hasSomething(form) {
  const reading = form.querySelector('[name=reading]');
  const lot = form.querySelector('select[name=lot]');
  const photo = form.querySelector('[type=file]');
  return (!reading || reading.value.trim() !== '') && (!lot || lot.value !== '') && (!photo || photo.files.length > 0);
}

/// Forms of which it was made sure that the box can be reached.
const checked = new WeakSet();

async function guard(event) {
  const { target: form, submitter } = event;
  if (!form.matches('[data-kept-offline], [data-kept-entry], [data-kept-photo]') || checked.has(form)) return;
  event.preventDefault();
  if (await reached()) {
    checked.add(form);
    form.requestSubmit(submitter);
  } else if (hasSomething(form)) {
    // A phone may have no room left, most of all for photos: what was typed stays in the form then.
    await keepForm(form).catch((problem) => say(form, `This phone could not keep it (${problem.name}), so it is nowhere yet. Leave this page open and send it when the box answers, or make room on the phone.`));
  }
}

if (bar && 'indexedDB' in window) {
  changes.addEventListener('change', count);
  // At the document: a live page changes its forms.
  document.addEventListener('submit', guard);
  me();
  keepSending();
  count();
}
if ('serviceWorker' in navigator) navigator.serviceWorker.register('/worker.js').catch(() => {});
