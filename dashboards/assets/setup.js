// Sets a system up: a form made from the system file's content, the plan drawn while one types, faults at their
// field. The object `system` below has the file's own keys; what the form does not know of stays untouched.
(() => {
  'use strict';
  const root = document.getElementById('setup');
  if (!root) return;
  const given = JSON.parse(root.dataset.given);
  const csrf = document.querySelector('meta[name="csrf"]')?.content;
  const isNew = !given.content;
  const SENSORS = [
    ['float', 'Float switch, which tells when water stands', 'height_mm', 'Height above the floor', 120],
    ['overflow', 'Second float near the rim', 'height_mm', 'Height above the floor', 260],
    ['moisture', 'Moisture probe in the soil', 'depth_mm', 'Depth below the floor', 250],
  ];
  // What sends water, by the names that the check against published tables tells apart.
  const FIXTURES = [['showers', 'showers and baths'], ['wash basins', 'wash basins'], ['laundry', 'laundry']];
  let faults = [];
  let version = given.version;

  const system = given.content ?? {
    id: '', name: '', timezone: '', soil: 'loam',
    source: { people: 2 }, splitter: [], basin: [],
  };
  // A new system lies where its property's others do, else where the browser is, else where the server is; UTC is
  // nobody's yard, so it is never proposed.
  let zoneAsked = !isNew;
  let zoneBy = '';
  const proposeZone = () => {
    if (zoneAsked) return;
    const known = given.properties.find((property) => property.id === system.property);
    const browser = Intl.DateTimeFormat().resolvedOptions().timeZone;
    const ways = [
      [known?.zone, 'that of the property’s other systems.'],
      [/^(Etc\/|UTC$|GMT)/.test(browser ?? '') ? null : browser, 'that of this browser. Change it if the yard lies elsewhere.'],
      [given.zone, 'that of the server. Change it if the yard lies elsewhere.'],
    ];
    const [zone, by] = ways.find(([name]) => name) ?? ['', 'where is the yard? Type the nearest large city, such as Denver.'];
    [system.timezone, zoneBy] = [zone, by];
  };
  proposeZone();
  system.source ??= {};
  system.splitter ??= [];
  system.basin ??= [];

  // Small tools

  const make = (tag, attributes = {}, ...children) => {
    const element = document.createElement(tag);
    for (const [name, value] of Object.entries(attributes)) {
      if (name.startsWith('on')) element.addEventListener(name.slice(2), value);
      else if (value === true) element.setAttribute(name, '');
      else if (value !== false && value != null) element.setAttribute(name, value);
    }
    element.append(...children.filter((child) => child != null));
    return element;
  };
  const slug = (text) => text.normalize('NFKD').toLowerCase().replace(/[\u0300-\u036f'’]/g, '').replace(/[^a-z0-9]+/g, '-').replace(/^-+|-+$/g, '').slice(0, 48);
  const idOf = (pointer) => `f${pointer.replace(/\//g, '-')}`;
  const faultAt = (pointer) => faults.filter((fault) => fault.pointer === pointer);

  // Time zones by their cities: who types `Denver` means America/Denver.

  const zones = [...document.getElementById('zones').options].map((option) => option.value);
  const plain = (words) => words.normalize('NFKD').toLowerCase().replace(/[\u0300-\u036f]/g, '').replace(/[^a-z0-9/+-]+/g, ' ').trim();
  const cityOf = (zone) => plain(zone.split('/').pop());
  const places = zones.filter((zone) => zone.includes('/') && !zone.startsWith('Etc/'));
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

  // What to say at a field that is empty.
  const EMPTY = {
    '/timezone': 'Say where the yard is: type the nearest large city, such as Denver.',
    '/name': 'Give the system a name, such as the street or the family.',
    '/id': 'Give it a short name of letters a to z, digits and hyphens.',
  };
  const faultWords = (fault) => {
    const value = fault.pointer.split('/').slice(1).reduce((owner, key) => owner?.[key], system);
    if (fault.pointer && (value === '' || value == null)) return EMPTY[fault.pointer] ?? (/\/id$/.test(fault.pointer) ? EMPTY['/id'] : toldInUnits(fault.detail));
    return fault.pointer === '/timezone' ? zoneFault(value) : toldInUnits(fault.detail);
  };

  // Fields; each is bound to a pointer into `system`

  const place = (pointer) => {
    const steps = pointer.split('/').slice(1);
    const key = steps.pop();
    let owner = system;
    for (const step of steps) owner = owner[step] ??= {};
    return [owner, key];
  };
  const read = (pointer) => { const [owner, key] = place(pointer); return owner[key]; };
  const write = (pointer, value) => {
    const [owner, key] = place(pointer);
    owner[key] = value;
    changed();
  };
  const faultLines = (pointer) => make('span', { class: 'faults', id: `${idOf(pointer)}-fault`, 'data-pointer': pointer });

  // A label is a word that everybody knows, or that and the technical term for it in small print.
  const labelled = (label) => (Array.isArray(label) ? [label[0], ' ', make('small', {}, label[1])] : [label]);
  const field = (pointer, label, input) => {
    input.id = idOf(pointer);
    input.dataset.field = pointer;
    return make('div', { class: 'field' }, make('label', { for: input.id }, ...labelled(label)), input, faultLines(pointer));
  };
  const text = (pointer, label, more = {}) => field(pointer, label, make('input', {
    value: read(pointer) ?? '', autocomplete: 'off',
    oninput: (event) => write(pointer, event.target.value === '' && !more.required ? null : event.target.value), ...more,
  }));
  const number = (pointer, label, more = {}) => field(pointer, label, make('input', {
    type: 'number', inputmode: 'decimal', step: 'any', value: read(pointer) ?? '',
    oninput: (event) => write(pointer, event.target.value === '' ? null : Number(event.target.value)), ...more,
  }));
  // A quantity in the reader's units; the file is metric. Exact factors: NIST Handbook 44, appendix C.
  const UNITS = given.units === 'us'
    ? { mm: ['in', 25.4, 2], m2: ['ft²', 0.09290304, 1], L: ['gal', 3.785411784, 4] }
    : { mm: ['mm', 1], m2: ['m²', 1], L: ['L', 1] };
  const inUnits = (unit) => {
    const [name, factor, decimals] = UNITS[unit];
    const shown = (metric) => (metric == null || decimals == null ? metric : Number((metric / factor).toFixed(decimals)));
    return [name, factor, shown];
  };
  // What a fault asks for, such as `20 to 2000 mm`.
  const toldInUnits = (detail) => detail.replace(/(?:([\d.]+) to )?([\d.]+) (mm|m²|L)(?![\w/])/g, (_, low, high, unit) => {
    const [name, , shown] = inUnits(unit === 'm²' ? 'm2' : unit);
    return `${low ? `${shown(low)} to ` : ''}${shown(high)} ${name}`;
  });
  const quantity = (pointer, label, unit, usual) => {
    const [name, factor, shown] = inUnits(unit);
    return number(pointer, `${label}, ${name}`, {
      min: 0, value: shown(read(pointer)) ?? '', placeholder: shown(usual),
      oninput: (event) => write(pointer, event.target.value === '' ? null : Number((Number(event.target.value) * factor).toFixed(4))),
    });
  };
  const choice = (pointer, label, options, more = {}) => field(pointer, label, make('select', {
    onchange: (event) => write(pointer, event.target.value), ...more,
  }, ...options.map(([value, words]) => make('option', { value, selected: value === read(pointer) }, words))));
  const tick = (label, on, then) => make('label', { class: 'choice' },
    make('input', { type: 'checkbox', checked: on, onchange: (event) => then(event.target.checked) }), ` ${label}`);

  // Plumbing

  const parts = () => [...system.splitter, ...system.basin];
  const fed = () => new Set(system.splitter.flatMap((splitter) => splitter.feeds ?? []));
  const freeId = (stem) => {
    const taken = new Set(parts().map((part) => part.id));
    for (let n = 1; ; n += 1) if (!taken.has(`${stem}${n}`)) return `${stem}${n}`;
  };
  const round = (metres) => Math.round(metres * 10) / 10;

  // A tree of splitters over the basins, as even as can be, for whoever starts from nothing.
  const plumb = () => {
    const old = new Map(system.splitter.map((splitter) => [splitter.id, splitter]));
    system.splitter = [];
    const join = (basins, depth) => {
      if (basins.length === 1) return basins[0].id;
      const id = `s${system.splitter.length + 1}`;
      const splitter = { ...(old.get(id) ?? {}), id };
      system.splitter.push(splitter);
      const half = Math.ceil(basins.length / 2);
      const sides = [basins.slice(0, half), basins.slice(half)];
      splitter.feeds = sides.map((side) => join(side, depth + 1));
      splitter.split = sides.map((side) => side.length / basins.length);
      const heights = basins.map((basin) => basin.at?.[1] ?? 0);
      splitter.at ??= [round(2 + depth * 2), round(heights.reduce((sum, y) => sum + y, 0) / heights.length)];
      return id;
    };
    if (system.basin.length > 1) join(system.basin, 0);
  };

  const addBasin = () => {
    const id = freeId('basin-');
    const lowest = Math.min(0, ...system.basin.map((basin) => basin.at?.[1] ?? 0));
    const deep = Math.max(1, Math.ceil(Math.log2(system.basin.length + 1)));
    system.basin.push({
      id, area_m2: 1.2, depth_mm: 300, at: [round(4 + 2 * deep), round(system.basin.length ? lowest - 2.5 : 0)],
      float: {}, moisture: { unit: '%' },
    });
  };

  if (isNew) { for (let n = 0; n < 4; n += 1) addBasin(); plumb(); }

  // The form

  const ownTopic = (...names) => [given.prefix, system.id || '…', ...names].join('/');
  const ownWords = (names) => `its own name: ${ownTopic(...names)}`;
  const assigning = (pointer, names) => {
    const topic = `${pointer}/topic`;
    const present = read(pointer)?.topic;
    const topics = given.strays.map((stray) => [stray.topic, `${stray.topic}: ${stray.sample}`.slice(0, 90)]);
    if (present && !topics.some(([known]) => known === present)) topics.unshift([present, present]);
    const options = [['', ownWords(names)], ...topics];
    return choice(topic, ['Sends as', 'topic'], options, {
      'data-own': names.join('/'), onchange: (event) => write(topic, event.target.value || null),
    });
  };

  const sensorPart = (at, [key, words, size, sizeWords, usual]) => {
    const pointer = `/basin/${at}/${key}`;
    const on = read(pointer) != null;
    return make('div', {}, tick(words, on, (wanted) => {
      system.basin[at][key] = wanted ? (key === 'moisture' ? { unit: '%' } : {}) : null;
      changed();
      drawForm(pointer);
    }), on ? make('div', { class: 'pair' },
      quantity(`${pointer}/${size}`, sizeWords, 'mm', usual),
      key === 'moisture'
        ? choice(`${pointer}/unit`, ['Its numbers are', 'unit'], [['', 'recognised by themselves'], ['%', 'percent'], ['m3/m3', 'm³/m³, from 0 to 1']], {
          onchange: (event) => write(`${pointer}/unit`, event.target.value || null),
        }) : null,
      assigning(pointer, [system.basin[at].id, key])) : null, faultLines(pointer));
  };

  // Plants alike are told apart by a number; who has one already keeps it.
  const tellApart = (plant) => {
    const stem = (words) => (words ?? '').replace(/ \d+$/, '');
    const alike = system.basin.filter((basin) => stem(basin.plant) === stem(plant));
    if (!plant || alike.length < 2) return false;
    const taken = new Set(alike.map((basin) => basin.plant).filter((words) => / \d+$/.test(words)));
    let named = false;
    for (const basin of alike.filter((one) => !/ \d+$/.test(one.plant))) {
      let n = 1;
      while (taken.has(`${stem(plant)} ${n}`)) n += 1;
      basin.plant = `${stem(plant)} ${n}`;
      taken.add(basin.plant);
      named = true;
    }
    return named;
  };

  const basinPart = (basin, at) => {
    const pointer = `/basin/${at}`;
    const legend = make('legend');
    const out = make('button', {
      type: 'button', class: 'plain',
      onclick: () => { system.basin.splice(at, 1); plumb(); changed(); drawForm('/basin'); },
    });
    // The box bears the plant's name as soon as it is typed.
    const name = () => {
      legend.textContent = `Basin ${at + 1}: ${basin.plant || basin.id}`;
      out.textContent = `Take ${basin.plant || basin.id} out`;
      for (const option of form.querySelectorAll(`option[data-part="${CSS.escape(basin.id)}"]`)) option.textContent = nameOf(basin);
    };
    name();
    return make('fieldset', { class: 'part' }, legend,
      make('div', { class: 'pair' },
        text(`${pointer}/plant`, 'Plant', { oninput: (event) => { write(`${pointer}/plant`, event.target.value || null); name(); }, onchange: (event) => { if (tellApart(event.target.value)) { changed(); drawForm(); } } }),
        text(`${pointer}/id`, ['Short name', 'id'], { required: true, pattern: '[a-z0-9\\-]+', onchange: (event) => rename(at, event.target.value), oninput: null }),
        quantity(`${pointer}/area_m2`, 'Floor area', 'm2'),
        quantity(`${pointer}/depth_mm`, 'Depth', 'mm', 300)),
      ...SENSORS.map((sensor) => sensorPart(at, sensor)),
      faultLines(pointer),
      make('div', { class: 'buttons' }, out));
  };

  const rename = (at, id) => {
    const before = system.basin[at].id;
    system.basin[at].id = id;
    for (const splitter of system.splitter) splitter.feeds = splitter.feeds.map((fedId) => (fedId === before ? id : fedId));
    changed();
    drawForm(`/basin/${at}/id`);
  };

  const nameOf = (part) => (part.plant && part.plant !== part.id ? `${part.plant} (${part.id})` : part.id);

  const splitterPart = (splitter, at) => {
    const pointer = `/splitter/${at}`;
    const options = parts().filter((part) => part.id !== splitter.id).map((part) => [part.id, nameOf(part)]);
    const side = (index, words) => field(`${pointer}/feeds/${index}`, words, make('select', {
      onchange: (event) => { splitter.feeds[index] = event.target.value; changed(); },
    }, ...options.map(([value, label]) => make('option', { value, 'data-part': value, selected: value === splitter.feeds[index] }, label))));
    const share = make('input', {
      type: 'number', min: 1, max: 99, step: 'any', value: Math.round(1000 * (splitter.split?.[0] ?? 0.5)) / 10,
      oninput: (event) => { const a = Number(event.target.value) / 100; splitter.split = [a, Math.round((1 - a) * 1e6) / 1e6]; changed(); },
    });
    return make('fieldset', { class: 'part' }, make('legend', {}, `Splitter ${splitter.id}`),
      make('div', { class: 'pair' }, side(0, 'Side a leads to'), side(1, 'Side b leads to'),
        field(`${pointer}/split`, 'Side a gets, %', share)),
      faultLines(`${pointer}/feeds`), faultLines(pointer));
  };

  const optional = (key, words, fresh, inner) => {
    const pointer = `/${key}`;
    const on = read(pointer) != null;
    return make('div', {}, tick(words, on, (wanted) => {
      const [owner, last] = place(pointer);
      owner[last] = wanted ? fresh : null;
      changed();
      drawForm(pointer);
    }), on && inner ? inner() : null, faultLines(pointer));
  };

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

  // The property: one that there is, or another by its name.
  const OTHER = '+';
  let isOther = !given.properties.length || Boolean(system.property && !given.properties.some((known) => known.id === system.property));
  const propertyPart = () => {
    const named = () => text('/property', isOther && given.properties.length ? 'Its name' : ['Property', 'the house or site that it belongs to'], {
      oninput: (event) => write('/property', slug(event.target.value) || null),
      placeholder: 'as the system',
    });
    if (!given.properties.length) return named();
    const options = given.properties.map((known) => [known.id, known.title]);
    if (given.everywhere) options.push([OTHER, 'another …']);
    if (!system.property) options.unshift(['', given.everywhere ? 'its own, named as the system' : 'choose one']);
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

  const zonePart = () => {
    const by = make('p', { class: 'hint' }, zoneBy && `Time zone: ${zoneBy}`);
    const zone = text('/timezone', 'Time zone of the yard', {
      required: true, list: 'zones', placeholder: 'a large city nearby',
      oninput: (event) => {
        const zone = zoneNamed(event.target.value);
        [zoneAsked, zoneBy] = [true, zone && zone !== event.target.value ? `${zone}.` : ''];
        by.textContent = zoneBy && `Time zone: ${zoneBy}`;
        write('/timezone', zone ?? event.target.value);
      },
      onchange: (event) => { event.target.value = system.timezone; },
    });
    return [zone, by];
  };

  const form = make('form', { class: 'form', novalidate: true, onsubmit: (event) => { event.preventDefault(); save(); } });
  const plan = make('figure', { class: 'plan' });
  const state = make('p', { role: 'status', class: 'hint' });
  const wrong = make('div', { role: 'alert' });
  root.append(make('div', { class: 'bench' }, form, plan));

  const soils = () => [...document.getElementById('soils').content.children].map((option) => [option.value, option.textContent]);

  // The focus stays where it was; after a press of a button it goes to `then`.
  const drawForm = (then) => {
    const held = document.activeElement?.dataset?.field;
    const [zone, zoneHint] = zonePart();
    form.replaceChildren(
      make('fieldset', { class: 'part' }, make('legend', {}, 'The system'),
        make('div', { class: 'pair' },
          text('/name', 'Name', {
            required: true,
            oninput: (event) => {
              const follows = isNew && (!system.id || system.id === slug(system.name ?? ''));
              system.name = event.target.value;
              if (follows) { system.id = slug(system.name); form.querySelector('[data-field="/id"]').value = system.id; }
              changed();
            },
          }),
          text('/id', ['Short name', 'id, for addresses and sensors'], { required: true, readonly: !isNew })),
        make('div', { class: 'pair' }, propertyPart(), zone, choice('/soil', 'Soil of the basins', soils())),
        zoneHint,
        make('div', { class: 'pair' }, number('/source/people', 'People in the household', { min: 1, step: 1 })),
        fixtureList(),
        optional('source/meter', 'A water meter in the house', {}, () => make('div', { class: 'pair' },
          quantity('/source/meter/litres_per_count', 'Water for each of its counts', 'L', 1))),
        optional('diverter', 'A diverter valve that tells whether it stands at sewer', {}),
        optional('rain', 'A rain gauge', {}, () => make('div', { class: 'pair' },
          quantity('/rain/mm_per_count', 'Rain for each of its counts', 'mm', 0.2)))),
      make('h2', {}, `${system.basin.length} ${system.basin.length === 1 ? 'outlet' : 'outlets'}, each with its basin`),
      ...system.basin.map(basinPart),
      make('div', { class: 'buttons' },
        make('button', {
          type: 'button', class: 'plain',
          onclick: () => { addBasin(); plumb(); changed(); drawForm(`/basin/${system.basin.length - 1}/plant`); },
        }, 'Add an outlet'),
        system.basin.length > 1 ? make('button', { type: 'button', class: 'plain', onclick: () => { plumb(); changed(); drawForm('/splitter'); } }, 'Lay the pipes anew') : null),
      system.splitter.length ? make('h2', {}, 'Splitters') : '',
      ...system.splitter.map(splitterPart),
      faultLines('/basin'), faultLines('/splitter'),
      wrong,
      make('div', { class: 'buttons' }, make('button', { type: 'submit' }, isNew ? 'Save the new system' : 'Save'), state));
    const target = then && form.querySelector(`[data-field^="${then}"]`);
    (target ?? (held && form.querySelector(`[data-field="${held}"]`)))?.focus({ preventScroll: !target });
    showFaults();
  };

  const showFaults = () => {
    const shown = new Set();
    for (const line of form.querySelectorAll('.faults')) {
      const here = faultAt(line.dataset.pointer);
      line.replaceChildren(...here.map((fault) => make('p', { class: 'fault' }, faultWords(fault))));
      here.forEach((fault) => shown.add(fault));
      const input = form.querySelector(`[data-field="${line.dataset.pointer}"]`);
      if (input) {
        if (here.length) { input.setAttribute('aria-invalid', 'true'); input.setAttribute('aria-describedby', line.id); }
        else { input.removeAttribute('aria-invalid'); input.removeAttribute('aria-describedby'); }
      }
    }
    const others = faults.filter((fault) => !shown.has(fault));
    wrong.replaceChildren(...others.map((fault) => make('p', { class: 'problem' }, faultWords(fault))));
  };

  // The plan: x runs right, y up, one unit a metre

  const SVG = 'http://www.w3.org/2000/svg';
  const draw = (tag, attributes, ...children) => {
    const element = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.append(...children);
    return element;
  };
  let frame = null;

  const drawPlan = () => {
    const held = document.activeElement?.closest?.('[data-part-id]')?.dataset.partId;
    const at = new Map(parts().filter((part) => Array.isArray(part.at)).map((part) => [part.id, part.at]));
    if (!at.size) { plan.replaceChildren(make('figcaption', {}, 'Parts without a place are not drawn.')); return; }
    const radius = (basin) => Math.sqrt(Math.max(0.05, Number(basin.area_m2) || 0.05) / Math.PI);
    if (!dragging) {
      const reach = [...at.values()];
      const margin = 2;
      const [xs, ys] = [reach.map((point) => point[0]), reach.map((point) => point[1])];
      frame = [Math.min(...xs) - margin - 1, -Math.max(...ys) - margin, 0, 0];
      frame[2] = Math.max(...xs) - frame[0] + margin;
      frame[3] = -Math.min(...ys) - frame[1] + margin;
    }
    const unit = frame[2] / 34;
    const svg = draw('svg', { viewBox: frame.join(' '), role: 'group', 'aria-label': 'Site plan to scale; parts can be moved' });
    const pipe = (from, to) => svg.append(draw('line', { class: 'pipe', x1: from[0], y1: -from[1], x2: to[0], y2: -to[1] }));
    const roots = parts().filter((part) => !fed().has(part.id) && at.has(part.id));
    if (roots.length) { const first = at.get(roots[0].id); pipe([first[0] - 2, first[1]], first); }
    for (const splitter of system.splitter) {
      for (const id of splitter.feeds ?? []) if (at.has(splitter.id) && at.has(id)) pipe(at.get(splitter.id), at.get(id));
    }
    const movable = (part, words, shape, labelY) => {
      const [x, y] = part.at;
      const group = draw('g', { tabindex: 0, role: 'button', 'data-part-id': part.id, transform: `translate(${x} ${-y})`, 'aria-label': `${words}, ${x} m east, ${y} m north; arrow keys move it` },
        shape, draw('text', { y: labelY, 'font-size': unit * 1.15 }, part.plant || part.id));
      group.querySelector('text').style.fontSize = `${unit * 1.15}px`;
      group.addEventListener('keydown', (event) => {
        const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
        if (!step) return;
        event.preventDefault();
        const far = event.shiftKey ? 1 : 0.1;
        part.at = [round(part.at[0] + step[0] * far), round(part.at[1] + step[1] * far)];
        changed();
      });
      group.addEventListener('pointerdown', (event) => { dragging = part; event.preventDefault(); group.focus(); });
      svg.append(group);
    };
    for (const basin of system.basin) {
      if (Array.isArray(basin.at)) movable(basin, `Basin ${basin.plant || basin.id}`, draw('circle', { class: 'basin', r: radius(basin) }), radius(basin) + unit * 1.4);
    }
    for (const splitter of system.splitter) {
      const s = unit * 0.75;
      if (Array.isArray(splitter.at)) movable(splitter, `Splitter ${splitter.id}`, draw('path', { class: 'splitter', d: `M${-s} 0L0 ${-s}L${s} 0L0 ${s}Z` }), -unit * 1.1);
    }
    plan.replaceChildren(svg, make('figcaption', {}, 'Drag the parts to where they lie, or move the one in focus with the arrow keys. Circles have the area of their basins.'));
    if (held) plan.querySelector(`[data-part-id="${held}"]`)?.focus({ preventScroll: true });
  };

  let dragging = null;
  const metres = (event) => {
    const svg = plan.querySelector('svg');
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [round(point.x), round(-point.y)];
  };
  window.addEventListener('pointermove', (event) => { if (dragging) { dragging.at = metres(event); drawPlan(); } });
  window.addEventListener('pointerup', () => { if (dragging) { dragging = null; changed(); } });
  window.addEventListener('pointercancel', () => { if (dragging) { dragging = null; changed(); } });

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
    } catch { state.textContent = 'The daemon does not answer; what you typed is kept here.'; }
  };
  const changed = () => {
    for (const select of form.querySelectorAll('select[data-own]')) select.options[0].textContent = ownWords(select.dataset.own.split('/'));
    drawPlan();
    clearTimeout(timer);
    timer = setTimeout(check, 400);
  };

  // Every sensor of the file, in words, with the topic that it sends to.
  const sensors = () => {
    const of = (owner, words, ...names) => (owner ? [[words, owner.topic ?? ownTopic(...names)]] : []);
    return [
      ...system.basin.flatMap((basin) => SENSORS.flatMap(([key, words]) => of(basin[key], `${words.split(',')[0]}, ${basin.plant || basin.id}`, basin.id, key))),
      ...of(system.source.meter, 'Water meter', 'meter'), ...of(system.diverter, 'Diverter', 'diverter'), ...of(system.rain, 'Rain gauge', 'rain'),
    ];
  };

  const link = (href, words) => make('a', { href, class: 'target' }, words);

  // What was done, and what comes next.
  const saved = () => {
    const home = `/systems/${encodeURIComponent(system.id)}`;
    const all = sensors();
    const table = () => make('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Its sensors' }, make('table', {},
      make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'Sensor'), make('th', { scope: 'col' }, 'Sends as ', make('small', {}, 'topic')))),
      make('tbody', {}, ...all.map(([words, topic]) => make('tr', {}, make('th', { scope: 'row' }, words), make('td', {}, make('code', {}, topic)))))));
    const next = [];
    if (isNew && all.length) {
      next.push(make('li', {}, 'Connect its sensors: let each send to ', make('code', {}, given.broker), ' ', make('small', {}, '(the MQTT broker)'), ', under the name below.', table()));
    } else if (!all.length) {
      next.push(make('li', {}, 'It has no sensors yet: nothing can be told of it. ', link(`/setup/${encodeURIComponent(system.id)}`, 'Say which ones there are')));
    }
    if (isNew && given.everywhere) {
      next.push(make('li', {}, 'A sensor whose name cannot be chosen is listed once it was heard: ', link('/heard', 'Sensor messages'), '. Then change the system and say which basin it belongs to.'));
    }
    if (isNew) next.push(make('li', {}, 'Put a label at each part: ', link(`${home}/labels`, 'Print the labels')));
    document.getElementById('title').textContent = `Saved: ${system.name}`;
    document.getElementById('intro').textContent = isNew ? 'It is watched from now on. Its page tells when the first sensor was heard.' : 'The change is in force.';
    document.getElementById('undo')?.parentElement.remove();
    root.replaceChildren(
      ...(next.length ? [make('h2', {}, 'What comes next'), make('ol', { class: 'steps' }, ...next)] : []),
      make('p', { class: 'buttons' }, link(home, 'Go to the system'), link('/setup', 'Set up another system')));
    document.getElementById('title').focus();
  };

  const save = async () => {
    clearTimeout(timer);
    asked += 1;
    state.textContent = 'Saving …';
    try {
      const [good, said] = await call('PUT', address(), version ? { 'if-match': `"${version}"` } : {}, system);
      if (good) { saved(); return; }
      take(said);
      state.textContent = said.detail ?? 'It was not saved.';
      form.querySelector('[aria-invalid="true"]')?.focus();
    } catch { state.textContent = 'The daemon does not answer; what you typed is kept here.'; }
  };

  document.getElementById('undo')?.addEventListener('click', async () => {
    const [good, said] = await call('POST', address('/undo'));
    if (good) location.reload(); else take(said);
  });

  drawForm();
  drawPlan();
})();
