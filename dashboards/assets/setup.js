// Sets a system up: a form made from the system file's content, the plan drawn while one types, faults at their
// field. The object `system` below has the file's own keys; what the form does not know of stays untouched. The other
// `setup-*.js` come before this one and lay what they make into `window.bench`.
(() => {
  'use strict';
  const root = document.getElementById('setup');
  if (!root) return;
  const { make, slug, titled, zoneNamed, zoneFault, zoneProposed } = window.bench;
  const given = JSON.parse(root.dataset.given);
  const csrf = document.querySelector('meta[name="csrf"]')?.content;
  const isNew = !given.content;
  // What sends water, by the names that the check against published tables tells apart.
  const FIXTURES = [['showers', 'showers and baths'], ['wash basins', 'wash basins'], ['laundry', 'laundry']];
  let faults = [];

  const system = given.content ?? {
    id: '', name: '', timezone: '', soil: 'loam',
    source: { people: 2 }, splitter: [], basin: [],
  };
  system.source ??= {};
  system.splitter ??= [];
  system.basin ??= [];
  let zoneAsked = !isNew;
  let zoneBy = '';
  const proposeZone = () => {
    if (zoneAsked) return;
    [system.timezone, zoneBy] = zoneProposed(given.properties.find((property) => property.id === system.property), given.zone);
  };
  proposeZone();

  const form = make('form', { class: 'form', novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } });
  const figure = make('figure', { class: 'plan' });
  const state = make('p', { role: 'status', class: 'hint' });
  const wrong = make('div', { role: 'alert' });
  root.append(make('div', { class: 'bench' }, form, figure));

  const fields = window.bench.fields(system, given.units, () => changed());
  const { read, write, faultLines, field, text, number, day, quantity, choice, tick, fold, refresh, toldInUnits } = fields;
  const pipes = window.bench.pipes(system);
  const drawPlan = window.bench.plan(figure, system, pipes, () => changed());
  const sensors = window.bench.sensors({ given, system, fields, form });
  const parts = window.bench.parts({ isNew, system, fields, sensors, pipes, form, changed: () => changed(), drawForm: (then) => drawForm(then) });
  if (isNew) { for (let n = 0; n < 4; n += 1) pipes.addBasin(); pipes.plumb(); }

  // The system

  // A sensor of the whole system; what it was before it was taken off comes back with it.
  const taken = new Map();
  const optional = (pointer, quantity, words, ...asked) => {
    const on = read(pointer) != null;
    const take = (wanted) => {
      if (!wanted) taken.set(pointer, read(pointer));
      write(pointer, wanted ? taken.get(pointer) ?? {} : null);
      drawForm(pointer);
    };
    const details = () => fold(pointer, asked.length ? 'What it counts, and how it sends' : 'How it sends', words, sensors.waiting() || Boolean(read(`${pointer}/topic`)),
      ...asked.map((one) => one()), ...sensors.wiring(pointer, [quantity], quantity, words));
    return make('div', {}, tick(words, on, take), on ? details() : null, faultLines(pointer));
  };
  const flag = (pointer, words) => tick(words, read(pointer) === true, (wanted) => write(pointer, wanted || null));

  // What few know by heart, and the daemon can do without.
  const lie = () => fold('/location', 'Where it lies, and since when it has been in use', null, false,
    make('div', { class: 'pair' },
      number('/location/latitude', ['Latitude, °', 'north; south is negative'], { min: -90, max: 90 }),
      number('/location/longitude', ['Longitude, °', 'east; west is negative'], { min: -180, max: 180 }),
      quantity('/location/elevation_m', 'Height above the sea', 'm', 0, { min: null })),
    make('div', { class: 'pair' }, day('/commissioned', ['In use since', 'from then on upkeep is reckoned'])),
    faultLines('/location'));

  // What is not of FIXTURES stays as the file has it.
  const fixtureList = () => {
    const box = ([name, words]) => {
      const has = (system.source.fixtures ?? []).includes(name);
      return tick(words, has, (wanted) => {
        const others = (system.source.fixtures ?? []).filter((known) => known !== name);
        const all = wanted ? [...others, name] : others;
        system.source.fixtures = all.length ? all : null;
        changed();
      });
    };
    return make('fieldset', { class: 'part' }, make('legend', {}, 'What drains into the system'),
      make('div', { class: 'pair' }, ...FIXTURES.map(box)),
      make('p', { class: 'hint' }, 'With the number of people, this tells how much water to expect. Nothing ticked counts as all of it.'),
      faultLines('/source/fixtures'));
  };

  // The property: one that there is, or another by its name. Without a choice it is called as the system's short name.
  const OTHER = '+';
  let isOther = !given.properties.length || Boolean(system.property && !given.properties.some((known) => known.id === system.property));
  const ownProperty = () => (system.id ? `its own: ${titled(system.id)}` : 'its own, as the system');
  const propertyPart = () => {
    const named = () => text('/property', isOther && given.properties.length ? 'Its name' : ['Property', 'the house or site that it belongs to'], {
      oninput: (event) => write('/property', slug(event.target.value) || null),
      value: system.property ? titled(system.property) : '', placeholder: titled(system.id ?? '') || 'as the system',
    });
    if (!given.properties.length) return named();
    const options = given.properties.map((known) => [known.id, known.title]);
    if (given.everywhere) options.push([OTHER, 'another …']);
    if (!system.property) options.unshift(['', given.everywhere ? ownProperty() : 'choose one']);
    const list = make('select', {
      onchange: (event) => {
        isOther = event.target.value === OTHER;
        system.property = isOther ? null : event.target.value || null;
        proposeZone();
        changed();
        drawForm(isOther ? '/property' : null);
      },
    }, ...options.map(([value, words]) => make('option', { value, selected: value === (isOther ? OTHER : system.property ?? '') }, words)));
    const choose = field(isOther ? '/property-list' : '/property', 'Property', list);
    return isOther ? make('div', {}, choose, named()) : choose;
  };
  // The name that a property gets by itself follows that of the system.
  const nameProperty = () => {
    const asked = form.querySelector('[data-field="/property"]');
    if (asked?.tagName === 'INPUT') asked.placeholder = titled(system.id ?? '') || 'as the system';
    else if (asked?.options[0].value === '' && given.everywhere) asked.options[0].textContent = ownProperty();
  };

  const zonePart = () => {
    const by = make('p', { class: 'hint' }, zoneBy && `Time zone: ${zoneBy}`);
    const zone = text('/timezone', 'Time zone of the yard', {
      required: true, list: 'zones', placeholder: 'a large city nearby',
      oninput: (event) => {
        const known = zoneNamed(event.target.value);
        [zoneAsked, zoneBy] = [true, known && known !== event.target.value ? `${known}.` : ''];
        by.textContent = zoneBy && `Time zone: ${zoneBy}`;
        write('/timezone', known ?? event.target.value);
      },
      onchange: (event) => { event.target.value = system.timezone; },
    });
    return [zone, by];
  };

  const soils = () => [...document.getElementById('soils').content.children].map((option) => [option.value, option.textContent]);
  const nameIt = (event) => {
    const follows = isNew && (!system.id || system.id === slug(system.name ?? ''));
    system.name = event.target.value;
    if (follows) { system.id = slug(system.name); form.querySelector('[data-field="/id"]').value = system.id; }
    changed();
  };
  const systemPart = () => {
    const [zone, zoneHint] = zonePart();
    return make('fieldset', { class: 'part' }, make('legend', {}, 'The system'),
      make('div', { class: 'pair' },
        text('/name', 'Name', { required: true, oninput: nameIt }),
        text('/id', ['Short name', 'id, for addresses and sensors'], { required: true, readonly: !isNew })),
      // A list shows one line only, so that of properties has the whole width.
      propertyPart(),
      make('div', { class: 'pair' }, zone, choice('/soil', 'Soil of the basins', soils())),
      zoneHint,
      make('div', { class: 'pair' }, number('/source/people', ['People in the household', 'usually\u00a02'], { min: 1, step: 1 })),
      fixtureList(),
      lie(),
      optional('/source/meter', 'meter', 'A water meter in the house',
        () => make('div', { class: 'pair' }, quantity('/source/meter/litres_per_count', 'Water for each of its counts', 'L', 1)),
        () => flag('/source/meter/after_diverter', 'It sits after the diverter, and so counts only what goes to the yard')),
      optional('/diverter', 'diverter', 'A diverter valve that tells whether it stands at sewer'),
      optional('/rain', 'rain', 'A rain gauge',
        () => make('div', { class: 'pair' }, quantity('/rain/mm_per_count', 'Rain for each of its counts', 'mm', 0.2))));
  };

  const splitters = () => {
    const count = system.splitter.length;
    if (!count) return '';
    return fold('/splitter', `${count === 1 ? 'One splitter' : `${count} splitters`}: which way each leads`, null, !isNew, ...system.splitter.map(parts.splitterPart));
  };

  // The whole form. The focus stays where it was; after a press of a button it goes to `then`.
  const drawForm = (then) => {
    const held = document.activeElement?.dataset?.field;
    const buttons = [make('button', {
      type: 'button', class: 'plain',
      onclick: () => { pipes.addBasin(); pipes.plumb(); changed(); drawForm(`/basin/${system.basin.length - 1}/plant`); },
    }, 'Add an outlet')];
    if (system.basin.length > 1) {
      buttons.push(make('button', { type: 'button', class: 'plain', onclick: () => { pipes.plumb(); changed(); drawForm('/splitter'); } }, 'Lay the pipes anew'));
    }
    form.replaceChildren(
      systemPart(),
      make('h2', {}, `${system.basin.length} ${system.basin.length === 1 ? 'outlet' : 'outlets'}, each with its basin`),
      ...system.basin.map(parts.basinPart),
      make('div', { class: 'buttons' }, ...buttons),
      splitters(),
      faultLines('/basin'), faultLines('/splitter'),
      wrong,
      make('div', { class: 'buttons' }, make('button', { type: 'submit' }, isNew ? 'Save the new system' : 'Save'), state));
    const target = then && form.querySelector(`[data-field^="${then}"]`);
    (target ?? (held && form.querySelector(`[data-field="${held}"]`)))?.focus({ preventScroll: !target });
    showFaults();
  };

  // What is wrong, each at its field

  const EMPTY = {
    '/timezone': 'Say where the yard is: type the nearest large city, such as Denver.',
    '/name': 'Give the system a name, such as the street or the family.',
    '/id': 'Give it a short name of letters a to z, digits and hyphens.',
  };
  // What the file's faults say of its notation, as the form asks for it.
  const NOTATION = [
    [/\/(placed|commissioned)$/, 'Fill in the whole day, from 1970 to 2100, or clear it.'],
    [/\/flood_hold$/, 'Give a time from a minute (0.02 hours) to 30 days (720 hours).'],
    [/\/at$/, 'Give both distances in numbers, within 10 km, or neither.'],
    [/^\/location$/, 'Give both latitude and longitude, or neither.'],
    [/\/(value|time)$/, 'Begin each step with /, as in /object/moisture.'],
  ];
  const KEYS = { height_mm: 'height', depth_mm: 'depth', area_m2: 'floor area' };
  const inWords = (detail) => toldInUnits(detail)
    .replace(/^\S+ of .* is (?:a string|-?[\d.]+): give/, 'Give')
    .replace(/\b(height_mm|depth_mm|area_m2)\b/g, (key) => KEYS[key])
    .replace(/own topic or its own value pointer/, 'own topic, or say for each where its value stands');
  const faultWords = (fault) => {
    const value = read(fault.pointer);
    const [, notation] = NOTATION.find(([pointer]) => pointer.test(fault.pointer)) ?? [];
    if (notation) return notation;
    if (fault.pointer && (value === '' || value == null)) return EMPTY[fault.pointer] ?? (/\/id$/.test(fault.pointer) ? EMPTY['/id'] : inWords(fault.detail));
    return fault.pointer === '/timezone' ? zoneFault(value) : inWords(fault.detail);
  };
  const showFaults = () => {
    const shown = new Set();
    for (const line of form.querySelectorAll('.faults')) {
      const input = form.querySelector(`[data-field="${line.dataset.pointer}"]`);
      // Whoever is typing is not done: what is half typed is told wrong on leaving the field.
      const typing = input !== null && input === document.activeElement && !input.hasAttribute('aria-invalid');
      const here = typing ? [] : faults.filter((fault) => fault.pointer === line.dataset.pointer);
      line.replaceChildren(...here.map((fault) => make('p', { class: 'fault' }, faultWords(fault))));
      faults.filter((fault) => fault.pointer === line.dataset.pointer).forEach((fault) => shown.add(fault));
      // A fault must not lie folded away.
      for (let lid = here.length && line.closest('details'); lid; lid = lid.parentElement.closest('details')) lid.open = true;
      if (input) {
        if (here.length) { input.setAttribute('aria-invalid', 'true'); input.setAttribute('aria-describedby', line.id); }
        else { input.removeAttribute('aria-invalid'); input.removeAttribute('aria-describedby'); }
      }
    }
    const others = faults.filter((fault) => !shown.has(fault));
    wrong.replaceChildren(...others.map((fault) => make('p', { class: 'problem' }, faultWords(fault))));
  };

  // The daemon's word on it

  const call = async (method, address, headers = {}, body = null) => {
    const answer = await fetch(address, {
      method, headers: { 'content-type': 'application/json', 'x-csrf-token': csrf, ...headers }, body: body && JSON.stringify(body),
    });
    const said = answer.status === 204 ? {} : await answer.json().catch(() => ({}));
    return [answer.ok, said];
  };
  const address = (what = '') => `/api/v1/systems/${encodeURIComponent(system.id || 'new')}/file${what}`;
  const take = (said) => { faults = said.errors ?? (said.detail ? [{ pointer: '', detail: said.detail }] : []); showFaults(); };
  const UNHEARD = 'The daemon does not answer; what you typed is kept here.';

  let timer = 0;
  let asked = 0;
  const check = async () => {
    if (!system.id) return;
    const mine = asked += 1;
    try {
      const [good, said] = await call('POST', address('/check'), {}, system);
      if (mine !== asked) return;
      take(good ? {} : said);
      state.textContent = good ? toldInUnits(['Ready to save.', ...(said.advice ?? [])].join(' ')) : `${faults.length} ${faults.length === 1 ? 'field needs' : 'fields need'} another look.`;
    } catch { state.textContent = UNHEARD; }
  };
  const changed = () => {
    sensors.nameTopics();
    nameProperty();
    refresh(form);
    drawPlan();
    clearTimeout(timer);
    timer = setTimeout(check, 400);
  };

  const save = async () => {
    clearTimeout(timer);
    asked += 1;
    state.textContent = 'Saving …';
    try {
      const [good, said] = await call('PUT', address(), given.version ? { 'if-match': `"${given.version}"` } : {}, system);
      // Its page says what comes next.
      if (good) { location.assign(`/systems/${encodeURIComponent(system.id)}?saved=${isNew ? 'new' : 'changed'}`); return; }
      take(said);
      state.textContent = said.detail ?? 'It was not saved.';
      form.querySelector('[aria-invalid="true"]')?.focus();
    } catch { state.textContent = UNHEARD; }
  };

  document.getElementById('undo')?.addEventListener('click', async () => {
    const [good, said] = await call('POST', address('/undo'));
    if (good) location.reload(); else take(said);
  });

  form.addEventListener('focusout', () => setTimeout(showFaults));
  drawForm();
  drawPlan();
})();
