// The parts of the form about basins with their sensors, and about splitters.
(() => {
  'use strict';
  const { make } = window.bench ?? {};
  const SENSORS = [
    ['float', 'Float switch, which tells when water stands'],
    ['overflow', 'Second float near the rim'],
    ['moisture', 'Moisture probe in the soil'],
  ];
  // These are heard without being named, if they send under their own names.
  const UNNAMED = [
    ['temperature', 'Soil temperature'],
    ['battery', 'Battery level'],
  ];
  const CHIPS = [['', 'medium, as usual'], ['fine', 'fine'], ['medium', 'medium'], ['coarse', 'coarse']];
  // The usual heights of floats fit a basin of this depth; in a shallower one they shrink with it.
  const DEPTH_MM = 300;
  const HOURS = { s: 1 / 3600, m: 1 / 60, min: 1 / 60, h: 1, d: 24 };

  // `changed` is called after every change, `drawForm` where fields come or go.
  const parts = ({ isNew, system, fields, sensors, pipes, form, changed, drawForm }) => {
    const { read, write, faultLines, field, text, number, day, quantity, choice, spot, tick, fold } = fields;
    const nameOf = (basin) => basin.plant || basin.id;
    // What a sensor was before it was taken off, should it come back.
    const before = new WeakMap();

    const place = (basin, pointer, key) => {
      const floats = (usual) => () => usual * Math.min(1, (Number(basin.depth_mm) || DEPTH_MM) / DEPTH_MM);
      switch (key) {
        case 'float': return [quantity(`${pointer}/height_mm`, 'Height above the floor', 'mm', floats(120)), sensors.contact(pointer)];
        case 'overflow': return [quantity(`${pointer}/height_mm`, 'Height above the floor', 'mm', floats(260)), sensors.contact(pointer)];
        case 'moisture': return [quantity(`${pointer}/depth_mm`, 'Depth below the floor', 'mm', 250), sensors.unit(pointer, key)];
        default: return [sensors.unit(pointer, key)];
      }
    };

    const sensorPart = (basin, at, [key, words]) => {
      const pointer = `/basin/${at}/${key}`;
      const on = read(pointer) != null;
      const take = (wanted) => {
        const kept = before.get(basin) ?? {};
        if (!wanted) before.set(basin, { ...kept, [key]: basin[key] });
        basin[key] = wanted ? kept[key] ?? (key === 'moisture' ? { unit: '%' } : {}) : null;
        changed();
        drawForm(pointer);
      };
      const called = `${words}, ${nameOf(basin)}`;
      const asks = UNNAMED.some(([unnamed]) => unnamed === key) ? 'How it sends' : 'Where it sits, and how it sends';
      // Where a sensor waits to be assigned, the choice of it lies open.
      const details = () => fold(pointer, asks, called, sensors.waiting() || Boolean(read(`${pointer}/topic`)),
        make('div', { class: 'pair' }, ...place(basin, pointer, key)), ...sensors.wiring(pointer, [basin.id, key], key, called));
      return make('div', {}, tick(words, on, take), on ? details() : null, faultLines(pointer));
    };

    const unnamed = (basin, at) => fold(`/basin/${at}/unnamed`, 'Soil temperature and battery level', nameOf(basin), UNNAMED.some(([key]) => basin[key] != null),
      make('p', { class: 'hint' }, 'Both are heard without a tick if they send under their own names. With a tick they are expected: you are told when they fall silent.'),
      ...UNNAMED.map((sensor) => sensorPart(basin, at, sensor)));

    const mulch = (basin, at) => {
      const pointer = `/basin/${at}/mulch`;
      return fold(pointer, 'Mulch, and the air gap above it', nameOf(basin), false,
        make('div', { class: 'pair' },
          quantity(`${pointer}/depth_mm`, 'Thickness of the mulch', 'mm', 200),
          choice(`${pointer}/chip`, 'Its chips are', CHIPS),
          day(`${pointer}/placed`, ['Laid on', 'usually with the system'])),
        make('p', { class: 'hint' }, 'From these the day is worked out on which the mulch is used up.'),
        make('div', { class: 'pair' }, quantity(`/basin/${at}/air_gap_mm`, 'Outlet above the mulch', 'mm', 150)),
        faultLines(pointer));
    };

    // How long water may stand, in hours; the file has it with a unit.
    const floodHold = (pointer) => {
      const [, amount, unit] = /^([\d.]+)\s*([a-z]+)$/.exec(read(pointer) ?? '') ?? [];
      return number(pointer, ['Standing water is a flood after, hours', 'usually 6, or more where the soil is slow'], {
        min: 0, value: HOURS[unit] ? Number((Number(amount) * HOURS[unit]).toFixed(3)) : '',
        oninput: ({ target }) => {
          const hours = target.value === '' ? null : Number(target.value);
          if (hours === null) write(pointer, target.validity.badInput ? '?' : null);
          else write(pointer, Number.isInteger(hours) ? `${hours}h` : `${Number((hours * 60).toFixed(2))}m`);
        },
      });
    };

    const renaming = () => (isNew ? null : make('p', { class: 'hint' }, 'What was measured so far stays under the old short name.'));
    const more = (basin, at) => {
      const pointer = `/basin/${at}`;
      const id = text(`${pointer}/id`, ['Short name', 'id, in the names of its sensors'], {
        required: true, pattern: '[a-z0-9\\-]+', oninput: null,
        onchange: (event) => { pipes.rename(basin, event.target.value); changed(); drawForm(`${pointer}/id`); },
      });
      return fold(`${pointer}/more`, 'Short name, place on the plan, when it counts as flooded', basin.id, false,
        id, renaming(), spot(`${pointer}/at`), floodHold(`${pointer}/flood_hold`));
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
        out.textContent = `Take ${nameOf(basin)} out`;
        for (const option of form.querySelectorAll(`option[data-part="${CSS.escape(basin.id)}"]`)) option.textContent = pipes.nameOf(basin);
      };
      name();
      const plant = text(`${pointer}/plant`, 'Plant', {
        oninput: (event) => { write(`${pointer}/plant`, event.target.value || null); name(); },
        onchange: (event) => { if (pipes.tellApart(event.target.value)) { changed(); drawForm(); } },
      });
      return make('fieldset', { class: 'part' }, legend,
        make('div', { class: 'pair' }, plant, quantity(`${pointer}/area_m2`, 'Floor area', 'm2'), quantity(`${pointer}/depth_mm`, 'Depth', 'mm', DEPTH_MM)),
        ...SENSORS.map((sensor) => sensorPart(basin, at, sensor)),
        mulch(basin, at), unnamed(basin, at), more(basin, at),
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
      const id = text(`${pointer}/id`, ['Short name', 'id, on its label'], {
        required: true, pattern: '[a-z0-9\\-]+', oninput: null,
        onchange: (event) => { pipes.rename(splitter, event.target.value); changed(); drawForm(`${pointer}/id`); },
      });
      return make('fieldset', { class: 'part' }, make('legend', {}, `Splitter ${splitter.id}`),
        make('div', { class: 'pair' }, side(0, 'Side a leads to'), side(1, 'Side b leads to'),
          field(`${pointer}/split`, 'Side a gets, %', share)),
        fold(`${pointer}/more`, 'Short name and place on the plan', splitter.id, false, id, renaming(), spot(`${pointer}/at`)),
        faultLines(`${pointer}/feeds`), faultLines(pointer));
    };

    return { basinPart, splitterPart };
  };

  window.bench = { ...window.bench, parts };
})();
