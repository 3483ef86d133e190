// Types a text into a cell and presses Enter; milliseconds until a new verdict, and until the whole answer, is painted.
([index, column, text]) => new Promise((resolve, reject) => {
  const head = document.querySelector('.pdm-head');
  const run = () => Number(head.querySelector('.pdm-run')?.dataset.run ?? 0);
  const cell = document.querySelectorAll(`.pdm-grid [data-col="${column}"]`)[index];
  const before = run();
  let verdict = null;
  setTimeout(() => reject(new Error('no verdict in a minute')), 60000);
  cell.focus();
  cell.value = text;
  cell.dispatchEvent(new Event('input', {bubbles: true}));
  const start = performance.now();
  const painted = (then) => requestAnimationFrame(() => setTimeout(() => then(performance.now() - start)));
  const observer = new MutationObserver(() => {
    const isWhole = run() > before;
    if (verdict === null && (isWhole || head.querySelector('[data-early]'))) {
      verdict = new Promise(painted);
    }
    if (!isWhole) return;
    observer.disconnect();
    painted(async (whole) => resolve([await verdict, whole]));
  });
  observer.observe(head, {subtree: true, childList: true, characterData: true, attributes: true});
  cell.dispatchEvent(new KeyboardEvent('keydown', {key: 'Enter', bubbles: true, cancelable: true}));
});
