// Over HTTPS, browsers let a page be opened with no network at all: the pad stands in for whatever cannot be reached.

const CACHE = 'pad VERSION';
const FILES = [FILES_OF_THE_PAD];

self.addEventListener('install', (event) => {
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});

self.addEventListener('activate', (event) => {
  const others = caches.keys().then((keys) => Promise.all(keys.filter((key) => key !== CACHE).map((key) => caches.delete(key))));
  event.waitUntil(others.then(() => self.clients.claim()));
});

self.addEventListener('fetch', (event) => {
  const { request } = event;
  if (request.method !== 'GET') return;
  const { pathname } = new URL(request.url);
  if (FILES.includes(pathname) && pathname !== '/pad') {
    event.respondWith(caches.match(pathname).then((kept) => kept ?? fetch(request)));
  } else if (request.mode === 'navigate') {
    event.respondWith(fetch(request).catch(() => caches.match('/pad')));
  }
});
