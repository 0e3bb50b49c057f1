// Screens that the menu leads to and that are not built yet. Each answers "There is no such page"; the crawl fails when
// one of them answers anything else, so that it is taken off this list.

export const UNBUILT = [
];

/// Whether an address belongs to one of them.
export function isUnbuilt(address) {
  return UNBUILT.some((unbuilt) => address === unbuilt || ['/', '?', '#'].some((next) => address.startsWith(unbuilt + next)));
}
