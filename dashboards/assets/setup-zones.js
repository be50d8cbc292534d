// Time zones by their cities: who types `Denver` means America/Denver.
(() => {
  'use strict';
  const list = document.getElementById('zones');
  if (!list) return;
  const zones = [...list.options].map((option) => option.value);
  const places = zones.filter((zone) => zone.includes('/') && !zone.startsWith('Etc/'));
  const plain = (words) => words.normalize('NFKD').toLowerCase().replace(/[\u0300-\u036f]/g, '').replace(/[^a-z0-9/+-]+/g, ' ').trim();
  const cityOf = (zone) => plain(zone.split('/').pop());

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

  const zoneFault = (asked) => {
    const words = plain(asked);
    const begun = places.filter((zone) => cityOf(zone).startsWith(words));
    const near = places.map((zone) => [apart(cityOf(zone), plain(words.split('/').pop())), zone]).sort((a, b) => a[0] - b[0]);
    const close = begun.length ? begun : near.filter(([letters]) => letters <= 2).map(([, zone]) => zone);
    const meant = close.slice(0, 3).join(', ');
    return `No time zone is called “${asked}”. ${meant ? `Did you mean ${meant}?` : 'Name the nearest large city, such as Denver or London.'}`;
  };

  // A new system lies where its property's others do, else where the browser is, else where the server is; UTC is
  // nobody's yard, so it is never proposed.
  const zoneProposed = (property, server) => {
    const browser = Intl.DateTimeFormat().resolvedOptions().timeZone;
    const ways = [
      [property?.zone, 'that of the property’s other systems.'],
      [/^(Etc\/|UTC$|GMT)/.test(browser ?? '') ? null : browser, 'that of this browser. Change it if the yard lies elsewhere.'],
      [server, 'that of the server. Change it if the yard lies elsewhere.'],
    ];
    return ways.find(([name]) => name) ?? ['', 'where is the yard? Type the nearest large city, such as Denver.'];
  };

  window.bench = { ...window.bench, zoneNamed, zoneFault, zoneProposed };
})();
