// Time zones by their cities: who types `Denver` means America/Denver.
(() => {
  'use strict';
  const list = document.getElementById('zones');
  if (!list) return;
  const zones = [...list.options].map((option) => option.value);
  const places = zones.filter((zone) => zone.includes('/') && !zone.startsWith('Etc/'));
  const plain = (words) => words.normalize('NFKD').toLowerCase().replace(/[\u0300-\u036f]/g, '').replace(/[^a-z0-9/+-]+/g, ' ').trim();
  const cityOf = (zone) => plain(zone.split('/').pop());

  // That of the browser, and first in the list with those of its part of the world; UTC is nobody's yard.
  const browser = Intl.DateTimeFormat().resolvedOptions().timeZone;
  const own = /^(Etc\/|UTC$|GMT)/.test(browser ?? '') ? null : browser;
  if (own) {
    const region = `${own.split('/')[0]}/`;
    const rank = ({ value }) => (value === own ? 0 : value.startsWith(region) ? 1 : 2);
    list.append(...[...list.options].sort((a, b) => rank(a) - rank(b)));
  }

  const zoneNamed = (asked) => {
    const words = plain(asked);
    if (!words) return null;
    return zones.find((zone) => plain(zone) === words) ?? places.find((zone) => cityOf(zone) === words) ?? null;
  };

  // How many letters differ, for slips of the pen.
  const apart = (a, b) => {
    let row = [...Array(b.length + 1).keys()];
    for (let i = 1; i <= a.length; i += 1) {
      const next = [i];
      for (let j = 1; j <= b.length; j += 1) next[j] = Math.min(next[j - 1] + 1, row[j] + 1, row[j - 1] + (a[i - 1] === b[j - 1] ? 0 : 1));
      row = next;
    }
    return row[b.length];
  };

  // A slip leaves the beginning as it is: what begins otherwise is another place.
  const BEGINNING = 4;
  const zoneFault = (asked) => {
    const city = plain(plain(asked).split('/').pop());
    const begins = (zone) => cityOf(zone).startsWith(city.slice(0, BEGINNING));
    const likely = city.length < BEGINNING ? [] : places.filter(begins);
    const begun = likely.filter((zone) => cityOf(zone).startsWith(city));
    const near = likely.map((zone) => [apart(cityOf(zone), city), zone]).filter(([letters]) => letters <= 2).sort((a, b) => a[0] - b[0]);
    const meant = (begun.length ? begun : near.map(([, zone]) => zone)).slice(0, 3).join(', ');
    if (meant) return `No time zone is called “${asked}”. Did you mean ${meant}?`;
    return `No time zone is called “${asked}”: only one city of each zone gives it its name. Take one whose clocks show the same time${own ? `, such as ${own}, that of this browser` : ''}.`;
  };

  // A new system lies where its property's others do, else where the browser is, else where the server is.
  const zoneProposed = (property, server) => {
    const ways = [
      [property?.zone, 'that of the property’s other systems.'],
      [own, 'that of this browser. Change it if the yard lies elsewhere.'],
      [server, 'that of the server. Change it if the yard lies elsewhere.'],
    ];
    return ways.find(([name]) => name) ?? ['', 'where is the yard? Type the nearest large city, such as Denver.'];
  };

  window.bench = { ...window.bench, zoneNamed, zoneFault, zoneProposed };
})();
