// A button that prints the page, or lets it be saved as PDF. Without this script it is not there.
(() => {
  'use strict';
  for (const button of document.querySelectorAll('[data-prints]')) {
    button.hidden = false;
    button.addEventListener('click', () => window.print());
  }
})();
