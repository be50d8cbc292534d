// Tells the dot nearest to a finger or a mouse in words. What it tells stands in the list below the drawing, too.
(() => {
  'use strict';
  const REACH = 60;

  const nearest = (drawing, event) => {
    let best = null;
    for (const dot of drawing.querySelectorAll('circle')) {
      const box = dot.getBoundingClientRect();
      const far = Math.hypot(box.x + box.width / 2 - event.clientX, box.y + box.height / 2 - event.clientY);
      if (far < (best?.far ?? REACH)) best = { dot, far };
    }
    return best?.dot;
  };

  const tell = (event) => {
    const drawing = event.target.closest?.('.scatter .dots');
    if (!drawing) return;
    const dot = nearest(drawing, event);
    drawing.querySelector('.told-of')?.classList.remove('told-of');
    dot?.classList.add('told-of');
    const words = drawing.closest('.scatter').querySelector('.told');
    if (dot) words.textContent = dot.querySelector('title').textContent;
  };
  document.addEventListener('pointerdown', tell);
  document.addEventListener('pointermove', (event) => { if (event.pointerType === 'mouse') tell(event); });
})();
