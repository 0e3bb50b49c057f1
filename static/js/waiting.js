// On every page: how many entries wait on this phone, and a form that cannot reach the box is kept instead of lost.

import { ASKED, REFUSED, WAITING, ask, changes, entries, keepReading, keepSending, me } from './queue.js';

const bar = document.querySelector('#waiting');

async function count() {
  const open = (await entries()).filter((entry) => [WAITING, ASKED, REFUSED].includes(entry.state));
  const looked = open.filter((entry) => entry.state !== WAITING).length;
  bar.hidden = open.length === 0;
  if (open.length === 0) return;
  const link = bar.querySelector('a');
  const many = open.length === 1 ? '1 weighing waits' : `${open.length} weighings wait`;
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

/// A reading typed while the wifi went away is kept on the phone.
async function keepForm(form) {
  await keepReading({ ...form.dataset, fields: new FormData(form) });
  const kept = form.querySelector('.kept');
  kept.hidden = false;
  form.querySelector('[name=reading]').value = '';
  kept.scrollIntoView({ block: 'nearest' });
}

/// Forms of which it was made sure that the box can be reached.
const checked = new WeakSet();

async function guard(event) {
  const { target: form, submitter } = event;
  if (!form.matches('[data-kept-offline]') || checked.has(form)) return;
  event.preventDefault();
  if (await reached()) {
    checked.add(form);
    form.requestSubmit(submitter);
  } else if (form.querySelector('[name=reading]').value.trim()) {
    await keepForm(form);
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
