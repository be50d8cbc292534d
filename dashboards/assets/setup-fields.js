// Fields of the form, each bound to a pointer into the object that it fills in.
(() => {
  'use strict';
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
  // An id as pages show it: `alder-court` is `Alder Court`.
  const titled = (id) => id.split('-').filter(Boolean).map((word) => word[0].toUpperCase() + word.slice(1)).join(' ');

  // `changed` is called after every change of `system`.
  const fields = (system, unitsName, changed) => {
    const stepsOf = (pointer) => pointer.split('/').slice(1);
    const read = (pointer) => stepsOf(pointer).reduce((owner, key) => owner?.[key], system);
    const set = (pointer, value) => {
      const steps = stepsOf(pointer);
      const key = steps.pop();
      let owner = system;
      for (const step of steps) owner = owner[step] ??= {};
      owner[key] = value;
      // These say nothing once nothing is in them; an empty sensor is still a sensor.
      const table = pointer.slice(0, -key.length - 1);
      if (value == null && /\/(mulch|location)$/.test(table) && Object.values(owner).every((left) => left == null)) set(table, null);
    };
    const write = (pointer, value) => { set(pointer, value); changed(); };
    const idOf = (pointer) => `f${pointer.replace(/\//g, '-')}`;
    const faultLines = (pointer) => make('span', { class: 'faults', id: `${idOf(pointer)}-fault`, 'data-pointer': pointer });

    // A label is a word that everybody knows, or that and the technical term for it in small print.
    const labelled = (label) => (Array.isArray(label) ? [label[0], ' ', make('small', {}, label[1])] : [label]);
    const field = (pointer, label, input) => {
      input.id = idOf(pointer);
      input.dataset.field = pointer;
      return make('div', { class: 'field' }, make('label', { for: input.id }, ...labelled(label)), input, faultLines(pointer));
    };
    // What cannot be read as a number or a day is refused at its field, not taken for nothing.
    const typed = ({ target }) => (target.value === '' ? (target.validity.badInput ? '?' : null) : target.value);
    const numberTyped = (event, factor = null) => {
      const value = typed(event);
      if (value === null || value === '?') return value;
      return factor === null ? Number(value) : Number((Number(value) * factor).toFixed(4));
    };
    const text = (pointer, label, more = {}) => field(pointer, label, make('input', {
      value: read(pointer) ?? '', autocomplete: 'off',
      oninput: (event) => write(pointer, event.target.value === '' && !more.required ? null : event.target.value), ...more,
    }));
    const number = (pointer, label, more = {}) => field(pointer, label, make('input', {
      type: 'number', inputmode: 'decimal', step: 'any', value: read(pointer) ?? '',
      oninput: (event) => write(pointer, numberTyped(event)), ...more,
    }));
    const day = (pointer, label) => field(pointer, label, make('input', {
      type: 'date', min: '1970-01-01', max: '2100-12-31', value: read(pointer) ?? '',
      oninput: (event) => write(pointer, typed(event)),
    }));

    // A quantity in the reader's units; the file is metric. Exact factors: NIST Handbook 44, appendix C.
    const UNITS = unitsName === 'us'
      ? { mm: ['in', 25.4, 2], m: ['ft', 0.3048, 1], m2: ['ft²', 0.09290304, 1], L: ['gal', 3.785411784, 4] }
      : { mm: ['mm', 1], m: ['m', 1], m2: ['m²', 1], L: ['L', 1] };
    const inUnits = (unit) => {
      const [name, factor, decimals] = UNITS[unit];
      const shown = (metric) => (metric == null || decimals == null ? metric : Number((metric / factor).toFixed(decimals)));
      return [name, factor, shown];
    };
    // What a fault asks for, such as `20 to 2000 mm`.
    const toldInUnits = (detail) => detail.replace(/(?:(-?[\d.]+) to )?(-?[\d.]+) (mm|m²|m|L)(?![\w/²])/g, (_, low, high, unit) => {
      const [name, , shown] = inUnits(unit === 'm²' ? 'm2' : unit);
      return `${low ? `${shown(low)} to ` : ''}${shown(high)} ${name}`;
    });
    // `usual` is what counts where nothing is filled in; a function of what else is filled in follows that.
    const usuals = new Map();
    const usually = (pointer, unit) => {
      const usual = usuals.get(pointer);
      const metric = typeof usual === 'function' ? usual() : usual;
      return `usually\u00a0${inUnits(unit)[2](Number.isFinite(metric) ? Number(metric.toFixed(1)) : metric)}`;
    };
    const quantity = (pointer, label, unit, usual, more = {}) => {
      const [name, factor, shown] = inUnits(unit);
      usuals.set(pointer, usual);
      const words = usual == null ? `${label}, ${name}` : [`${label}, ${name}`, usually(pointer, unit)];
      const made = number(pointer, words, {
        min: 0, value: shown(read(pointer)) ?? '', 'data-unit': unit, oninput: (event) => write(pointer, numberTyped(event, factor)), ...more,
      });
      if (typeof usual === 'function') made.querySelector('small').dataset.usual = pointer;
      return made;
    };
    // What has changed otherwise than by typing into its own field.
    const refresh = (form) => {
      for (const small of form.querySelectorAll('[data-usual]')) {
        const { usual } = small.dataset;
        small.textContent = usually(usual, form.querySelector(`[data-field="${usual}"]`).dataset.unit);
      }
      for (const input of form.querySelectorAll('[data-field*="/at/"]')) {
        if (input !== document.activeElement) input.value = inUnits('m')[2](read(input.dataset.field)) ?? '';
      }
    };

    const choice = (pointer, label, options, more = {}) => {
      const present = read(pointer) ?? '';
      const all = options.some(([value]) => value === present) ? options : [...options, [present, present]];
      return field(pointer, label, make('select', {
        onchange: (event) => write(pointer, event.target.value || null), ...more,
      }, ...all.map(([value, words]) => make('option', { value, selected: value === present }, words))));
    };

    // Where a part lies on the site plan: both distances, or neither.
    const spot = (pointer) => {
      const along = (index, label) => quantity(`${pointer}/${index}`, label, 'm', null, {
        min: null,
        oninput: (event) => {
          const at = [...(read(pointer) ?? [null, null])];
          at[index] = numberTyped(event, inUnits('m')[1]);
          write(pointer, at.some((distance) => distance != null) ? at : null);
        },
      });
      return make('div', {}, make('div', { class: 'pair' }, along(0, 'East of the plan’s corner'), along(1, 'North of it')), faultLines(pointer));
    };

    const tick = (label, on, then) => make('label', { class: 'choice' },
      make('input', { type: 'checkbox', checked: on, onchange: (event) => then(event.target.checked) }), ` ${label}`);

    // What few people need lies folded; what was opened stays open when the form is drawn anew. `of` tells folds of the
    // same name apart for those who hear a list of them.
    const opened = new Map();
    const fold = (pointer, words, of, isOpen, ...inner) => make('details', {
      class: 'lid', open: opened.get(pointer) ?? isOpen, ontoggle: (event) => opened.set(pointer, event.target.open),
    }, make('summary', {}, words, of ? make('span', { class: 'unseen' }, `: ${of}`) : null), ...inner);

    return { read, set, write, faultLines, field, text, number, day, quantity, choice, spot, tick, fold, refresh, toldInUnits };
  };

  window.bench = { ...window.bench, make, slug, titled, fields };
})();
