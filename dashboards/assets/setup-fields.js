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
    const idOf = (pointer) => `f${pointer.replace(/\//g, '-')}`;
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
    const UNITS = unitsName === 'us'
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

    // What few people need lies folded; what was opened stays open when the form is drawn anew.
    const opened = new Map();
    const fold = (pointer, words, isOpen, ...inner) => make('details', {
      class: 'lid', open: opened.get(pointer) ?? isOpen, ontoggle: (event) => opened.set(pointer, event.target.open),
    }, make('summary', {}, ...[words].flat()), ...inner);

    return { place, read, write, faultLines, field, text, number, quantity, choice, tick, fold, toldInUnits };
  };

  window.bench = { ...window.bench, make, slug, titled, fields };
})();
