// The site plan of a system that is set up: x runs right, y up, one unit a metre. Parts are moved by pointer or keys.
(() => {
  'use strict';
  const { make, round } = window.bench ?? {};
  const SVG = 'http://www.w3.org/2000/svg';
  const MARGIN = 2;
  const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  const draw = (tag, attributes, ...children) => {
    const element = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
    element.append(...children);
    return element;
  };
  const radius = (basin) => Math.sqrt(Math.max(0.05, Number(basin.area_m2) || 0.05) / Math.PI);

  // Draws into `figure` whenever the function that it returns is called; `changed` is called once a part was moved.
  const plan = (figure, system, pipes, changed) => {
    // While a distance is half typed a part has no place.
    const isPlaced = (part) => Array.isArray(part.at) && part.at.every(Number.isFinite);
    let frame = null;
    let dragging = null;

    const fit = (points) => {
      const [xs, ys] = [points.map((point) => point[0]), points.map((point) => point[1])];
      frame = [Math.min(...xs) - MARGIN - 1, -Math.max(...ys) - MARGIN, 0, 0];
      frame[2] = Math.max(...xs) - frame[0] + MARGIN;
      frame[3] = -Math.min(...ys) - frame[1] + MARGIN;
    };

    const movable = (part, words, shape, labelY, letter) => {
      const [x, y] = part.at;
      const group = draw('g', { tabindex: 0, role: 'button', 'data-part-id': part.id, transform: `translate(${x} ${-y})`, 'aria-label': `${words}, ${x} m east, ${y} m north; arrow keys move it` },
        shape, draw('text', { y: labelY, 'font-size': letter }, part.plant || part.id));
      group.querySelector('text').style.fontSize = `${letter}px`;
      group.addEventListener('keydown', (event) => {
        const step = STEPS[event.key];
        if (!step) return;
        event.preventDefault();
        const far = event.shiftKey ? 1 : 0.1;
        part.at = [round(part.at[0] + step[0] * far), round(part.at[1] + step[1] * far)];
        changed();
      });
      group.addEventListener('pointerdown', (event) => { dragging = part; event.preventDefault(); group.focus(); });
      return group;
    };

    const lines = (at) => {
      const pipe = (from, to) => draw('line', { class: 'pipe', x1: from[0], y1: -from[1], x2: to[0], y2: -to[1] });
      const [root] = pipes.parts().filter((part) => !pipes.fed().has(part.id) && at.has(part.id));
      const inlet = root ? [pipe([at.get(root.id)[0] - 2, at.get(root.id)[1]], at.get(root.id))] : [];
      const between = system.splitter.flatMap((splitter) => (splitter.feeds ?? [])
        .filter((id) => at.has(splitter.id) && at.has(id)).map((id) => pipe(at.get(splitter.id), at.get(id))));
      return [...inlet, ...between];
    };

    const drawPlan = () => {
      const held = document.activeElement?.closest?.('[data-part-id]')?.dataset.partId;
      const at = new Map(pipes.parts().filter(isPlaced).map((part) => [part.id, part.at]));
      if (!at.size) { figure.replaceChildren(make('figcaption', {}, 'Parts without a place are not drawn: give each one where its short name is asked for.')); return; }
      if (!dragging) fit([...at.values()]);
      const unit = frame[2] / 34;
      const letter = unit * 1.35;
      const s = unit * 0.75;
      const placed = (all) => all.filter(isPlaced);
      const svg = draw('svg', { viewBox: frame.join(' '), role: 'group', 'aria-label': 'Site plan to scale; parts can be moved' },
        ...lines(at),
        ...placed(system.basin).map((basin) => movable(basin, `Basin ${basin.plant || basin.id}`, draw('circle', { class: 'basin', r: radius(basin) }), radius(basin) + unit * 1.5, letter)),
        ...placed(system.splitter).map((splitter) => movable(splitter, `Splitter ${splitter.id}`, draw('path', { class: 'splitter', d: `M${-s} 0L0 ${-s}L${s} 0L0 ${s}Z` }), -unit * 1.1, letter)));
      figure.replaceChildren(svg, make('figcaption', {}, 'Drag the parts to where they lie, or move the one in focus with the arrow keys. Circles have the area of their basins.'));
      if (held) figure.querySelector(`[data-part-id="${held}"]`)?.focus({ preventScroll: true });
    };

    const metres = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(figure.querySelector('svg').getScreenCTM().inverse());
      return [round(point.x), round(-point.y)];
    };
    const drop = () => { if (dragging) { dragging = null; changed(); } };
    window.addEventListener('pointermove', (event) => { if (dragging) { dragging.at = metres(event); drawPlan(); } });
    window.addEventListener('pointerup', drop);
    window.addEventListener('pointercancel', drop);
    return drawPlan;
  };

  window.bench = { ...window.bench, plan };
})();
