// What a set-up says once it is saved: what was done, and what comes next.
(() => {
  'use strict';
  const { make } = window.bench ?? {};
  const link = (href, words) => make('a', { href, class: 'target' }, words);

  const table = (sensors) => make('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Its sensors' }, make('table', {},
    make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'Sensor'), make('th', { scope: 'col' }, 'Sends as ', make('small', {}, 'topic')), make('th', { scope: 'col' }, 'Such as'))),
    make('tbody', {}, ...sensors.map(([words, topic, sends]) => make('tr', {},
      make('th', { scope: 'row' }, words), make('td', {}, make('code', {}, topic)), make('td', {}, make('code', {}, sends.examples[0])))))));

  // What each kind of sensor may send, once.
  const messages = (sensors) => {
    const kinds = new Map(sensors.map(([words, , sends]) => [`${words.split(',')[0]}: ${sends.value}`, sends]));
    const [, object, pack] = sensors[0][2].examples;
    const code = (text) => make('code', {}, text);
    return make('li', {}, 'What they send:',
      make('ul', {}, ...[...kinds].map(([words, sends]) => make('li', {}, `${words}, such as `, code(sends.examples[0]), '.'))),
      'A bare value will do, and so does a JSON object, such as ', code(object), ', or SenML, such as ', code(pack), '. Send with QoS 1. ',
      code(`basinward decode ${sensors[0][1]}`), ' tells what would be made of a message, and why not.');
  };

  const steps = (system, sensors, isNew, given) => {
    const home = `/systems/${encodeURIComponent(system.id)}`;
    const next = [];
    if (isNew && sensors.length) {
      next.push(make('li', {}, 'Connect its sensors: let each send to ', make('code', {}, given.broker), ' ', make('small', {}, '(the MQTT broker)'), ', under the name below.', table(sensors)), messages(sensors));
    } else if (!sensors.length) {
      next.push(make('li', {}, 'It has no sensors yet: nothing can be told of it. ', link(`/setup/${encodeURIComponent(system.id)}`, 'Say which ones there are')));
    }
    if (isNew && given.everywhere) {
      next.push(make('li', {}, 'A sensor whose name cannot be chosen is listed once it was heard: ', link('/heard', 'Sensor messages'), '. Then change the system and say which basin it belongs to.'));
    }
    if (isNew) next.push(make('li', {}, 'Put a label at each part: ', link(`${home}/labels`, 'Print the labels')));
    return next;
  };

  // Puts it in the place of the form in `root`; `sensors` are pairs of words and topic.
  const saved = (root, system, sensors, isNew, given) => {
    const next = steps(system, sensors, isNew, given);
    const title = document.getElementById('title');
    title.textContent = `Saved: ${system.name}`;
    document.getElementById('intro').textContent = isNew ? 'It is watched from now on. Its page tells when the first sensor was heard.' : 'The change is in force.';
    document.getElementById('undo')?.parentElement.remove();
    root.replaceChildren(
      ...(next.length ? [make('h2', {}, 'What comes next'), make('ol', { class: 'steps' }, ...next)] : []),
      make('p', { class: 'buttons' }, link(`/systems/${encodeURIComponent(system.id)}`, 'Go to the system'), link('/setup', 'Set up another system')));
    title.focus();
  };

  window.bench = { ...window.bench, saved };
})();
