// The parts of the form about basins with their sensors, and about splitters.
(() => {
  'use strict';
  const { make } = window.bench ?? {};
  const SENSORS = [
    ['float', 'Float switch, which tells when water stands', 'height_mm', 'Height above the floor', 120],
    ['overflow', 'Second float near the rim', 'height_mm', 'Height above the floor', 260],
    ['moisture', 'Moisture probe in the soil', 'depth_mm', 'Depth below the floor', 250],
  ];
  const MOISTURE_UNITS = [['', 'recognised by themselves'], ['%', 'percent'], ['m3/m3', 'm³/m³, from 0 to 1']];

  // `changed` is called after every change, `drawForm` where fields come or go.
  const parts = ({ given, system, fields, pipes, form, changed, drawForm }) => {
    const { read, write, faultLines, field, text, quantity, choice, tick, fold } = fields;
    const ownTopic = (...names) => [given.prefix, system.id || '…', ...names].join('/');
    

    const assigning = (pointer, names) => {
      const topic = `${pointer}/topic`;
      const present = read(pointer)?.topic;
      const topics = given.strays.map((stray) => [stray.topic, `${stray.topic}: ${stray.sample}`.slice(0, 90)]);
      if (present && !topics.some(([known]) => known === present)) topics.unshift([present, present]);
      const options = [['', 'its own name'], ...topics];
      // A list shows one line only: the whole topic stands below it.
      const chosen = make('code', { class: 'chosen', 'data-own': present ? false : names.join('/') }, present || ownTopic(...names));
      const list = choice(topic, ['Sends as', 'topic'], options, {
        onchange: (event) => {
          chosen.textContent = event.target.value || ownTopic(...names);
          if (event.target.value) delete chosen.dataset.own; else chosen.dataset.own = names.join('/');
          write(topic, event.target.value || null);
        },
      });
      list.append(chosen);
      return list;
    };

    const sensorPart = (at, [key, words, size, sizeWords, usual]) => {
      const pointer = `/basin/${at}/${key}`;
      const on = read(pointer) != null;
      const take = (wanted) => {
        system.basin[at][key] = wanted ? (key === 'moisture' ? { unit: '%' } : {}) : null;
        changed();
        drawForm(pointer);
      };
      const unit = key === 'moisture' ? choice(`${pointer}/unit`, ['Its numbers are', 'unit'], MOISTURE_UNITS, {
        onchange: (event) => write(`${pointer}/unit`, event.target.value || null),
      }) : null;
      // Where a sensor waits to be assigned, the choice of it lies open.
      const details = () => fold(pointer, ['Where it sits, and how it sends', make('span', { class: 'unseen' }, `: ${words}, ${system.basin[at].plant || system.basin[at].id}`)], given.strays.length > 0 || Boolean(read(pointer).topic), make('div', { class: 'pair' },
        quantity(`${pointer}/${size}`, sizeWords, 'mm', usual), unit), assigning(pointer, [system.basin[at].id, key]));
      return make('div', {}, tick(words, on, take), on ? details() : null, faultLines(pointer));
    };

    const basinPart = (basin, at) => {
      const pointer = `/basin/${at}`;
      const legend = make('legend');
      const out = make('button', {
        type: 'button', class: 'plain',
        onclick: () => { system.basin.splice(at, 1); pipes.plumb(); changed(); drawForm('/basin'); },
      });
      // The box bears the plant's name as soon as it is typed.
      const name = () => {
        legend.textContent = basin.plant ? `Basin ${at + 1}: ${basin.plant}` : `Basin ${at + 1}`;
        out.textContent = `Take ${basin.plant || basin.id} out`;
        for (const option of form.querySelectorAll(`option[data-part="${CSS.escape(basin.id)}"]`)) option.textContent = pipes.nameOf(basin);
      };
      name();
      const plant = text(`${pointer}/plant`, 'Plant', {
        oninput: (event) => { write(`${pointer}/plant`, event.target.value || null); name(); },
        onchange: (event) => { if (pipes.tellApart(event.target.value)) { changed(); drawForm(); } },
      });
      const id = text(`${pointer}/id`, ['Short name', 'id, in the names of its sensors'], {
        required: true, pattern: '[a-z0-9\\-]+', oninput: null,
        onchange: (event) => { pipes.rename(at, event.target.value); changed(); drawForm(`${pointer}/id`); },
      });
      return make('fieldset', { class: 'part' }, legend,
        make('div', { class: 'pair' }, plant, quantity(`${pointer}/area_m2`, 'Floor area', 'm2'), quantity(`${pointer}/depth_mm`, 'Depth', 'mm', 300)),
        ...SENSORS.map((sensor) => sensorPart(at, sensor)),
        fold(`${pointer}/id`, `Short name: ${basin.id}`, false, id),
        faultLines(pointer),
        make('div', { class: 'buttons' }, out));
    };

    const splitterPart = (splitter, at) => {
      const pointer = `/splitter/${at}`;
      const options = pipes.parts().filter((part) => part.id !== splitter.id).map((part) => [part.id, pipes.nameOf(part)]);
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

    // The names that sensors have by themselves follow that of the system.
    const nameTopics = () => {
      for (const chosen of form.querySelectorAll('code[data-own]')) chosen.textContent = ownTopic(...chosen.dataset.own.split('/'));
    };

    return { basinPart, splitterPart, nameTopics };
  };

  window.bench = { ...window.bench, parts };
})();
