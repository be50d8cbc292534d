// The part of the form about one sensor: where it is heard, and how what it sends is read.
(() => {
  'use strict';
  const { make } = window.bench ?? {};
  const AS_SENT = ['', 'as its messages say'];
  const UNITS = {
    moisture: [['', 'recognised by themselves'], ['%', 'percent'], ['m3/m3', 'm³/m³, from 0 to 1'], ['permittivity', 'permittivity, turned into water content']],
    temperature: [AS_SENT, ['Cel', '°C'], ['degF', '°F']],
    battery: [AS_SENT, ['%', 'percent'], ['/', 'a fraction, from 0 to 1']],
  };

  const sensors = ({ given, system, fields, form }) => {
    const { read, set, write, text, number, choice, fold } = fields;
    const ownTopic = (...names) => [given.prefix, system.id || '…', ...names].join('/');

    const assigning = (pointer, names) => {
      const topic = `${pointer}/topic`;
      const present = read(topic);
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

    // What its numbers mean; none for a sensor without numbers, or with counts alone.
    const unit = (pointer, quantity) => {
      if (!UNITS[quantity]) return null;
      const isPermittivity = read(`${pointer}/permittivity`) === true;
      const options = UNITS[quantity].map(([value, words]) => [value, words]);
      const list = choice(`${pointer}/unit`, ['Its numbers are', 'unit'], options, {
        onchange: ({ target }) => {
          const wanted = target.value === 'permittivity';
          if (wanted || read(`${pointer}/permittivity`) != null) set(`${pointer}/permittivity`, wanted || null);
          write(`${pointer}/unit`, wanted ? null : target.value || null);
        },
      });
      if (isPermittivity) list.querySelector('select').value = 'permittivity';
      return list;
    };

    // Which way round a float's contact works.
    const contact = (pointer) => choice(`${pointer}/wet`, 'When it floats up, its contact', [
      [read(`${pointer}/wet`) === 'closed' ? 'closed' : '', 'closes, as usual'], ['open', 'opens'],
    ]);

    const reading = (pointer, quantity, called) => {
      const counts = ['moisture', 'temperature', 'battery', 'meter', 'rain'].includes(quantity);
      return fold(`${pointer}/value`, 'How its messages are read', called, ['value', 'time', 'scale', 'offset'].some((key) => read(`${pointer}/${key}`) != null),
        make('p', { class: 'hint' }, 'A message that is a bare value, SenML, or JSON with “value” and “time” is read by itself. Say more only for others.'),
        make('div', { class: 'pair' },
          text(`${pointer}/value`, ['Where the value stands', 'usually\u00a0/value'], { placeholder: `such as /object/${quantity}`, autocapitalize: 'off', spellcheck: 'false' }),
          text(`${pointer}/time`, ['Where the time stands', 'usually\u00a0/time'], { autocapitalize: 'off', spellcheck: 'false' })),
        counts ? make('div', { class: 'pair' },
          number(`${pointer}/scale`, ['Its number times', 'usually\u00a01']),
          number(`${pointer}/offset`, ['and then plus', 'usually\u00a00'])) : null);
    };

    // Where it is heard and how it is read; `names` make up its own topic, `called` is what people call it.
    const wiring = (pointer, names, quantity, called) => [assigning(pointer, names), reading(pointer, quantity, called)];

    // The names that sensors have by themselves follow that of the system.
    const nameTopics = () => {
      for (const chosen of form.querySelectorAll('code[data-own]')) chosen.textContent = ownTopic(...chosen.dataset.own.split('/'));
    };

    // Whether messages wait for a sensor to be assigned to.
    const waiting = () => given.strays.length > 0;

    return { wiring, unit, contact, waiting, nameTopics };
  };

  window.bench = { ...window.bench, sensors };
})();
