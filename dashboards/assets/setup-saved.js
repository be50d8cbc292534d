// What a set-up says once it is saved: what was done, and what comes next.
(() => {
  'use strict';
  const { make } = window.bench ?? {};
  const link = (href, words) => make('a', { href, class: 'target' }, words);

  const table = (sensors) => make('div', { class: 'scroll', tabindex: 0, role: 'region', 'aria-label': 'Its sensors' }, make('table', {},
    make('thead', {}, make('tr', {}, make('th', { scope: 'col' }, 'Sensor'), make('th', { scope: 'col' }, 'Sends as ', make('small', {}, 'topic')))),
    make('tbody', {}, ...sensors.map(([words, topic]) => make('tr', {}, make('th', { scope: 'row' }, words), make('td', {}, make('code', {}, topic)))))));

  const steps = (system, sensors, isNew, given) => {
    const home = `/systems/${encodeURIComponent(system.id)}`;
    const next = [];
    if (isNew && sensors.length) {
      next.push(make('li', {}, 'Connect its sensors: let each send to ', make('code', {}, given.broker), ' ', make('small', {}, '(the MQTT broker)'), ', under the name below.', table(sensors)));
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
