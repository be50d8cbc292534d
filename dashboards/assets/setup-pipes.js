// The plumbing of a system that is set up: its basins, and the tree of splitters over them.
(() => {
  'use strict';
  const round = (metres) => Math.round(metres * 10) / 10;

  const pipes = (system) => {
    const parts = () => [...system.splitter, ...system.basin];
    const fed = () => new Set(system.splitter.flatMap((splitter) => splitter.feeds ?? []));
    const nameOf = (part) => (part.plant && part.plant !== part.id ? `${part.plant} (${part.id})` : part.id);
    const freeId = (stem) => {
      const taken = new Set(parts().map((part) => part.id));
      for (let n = 1; ; n += 1) if (!taken.has(`${stem}${n}`)) return `${stem}${n}`;
    };

    // A tree of splitters over the basins, as even as can be, for whoever starts from nothing.
    const plumb = () => {
      const old = system.splitter;
      system.splitter = [];
      const join = (basins, depth) => {
        if (basins.length === 1) return basins[0].id;
        // Those that there are keep their names; further ones come after all of them.
        const known = old[system.splitter.length];
        const id = known?.id ?? freeId('s');
        const splitter = { ...known, id };
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

    // `part` is a basin or a splitter.
    const rename = (part, id) => {
      const before = part.id;
      part.id = id;
      for (const splitter of system.splitter) splitter.feeds = (splitter.feeds ?? []).map((fedId) => (fedId === before ? id : fedId));
    };

    // Plants alike are told apart by a number; who has one already keeps it. Whether any was named anew.
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

    return { parts, fed, nameOf, plumb, addBasin, rename, tellApart };
  };

  window.bench = { ...window.bench, round, pipes };
})();
