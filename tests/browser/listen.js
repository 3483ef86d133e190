// Notes at every change of the page which word the verdict begins with and whether the pictures are marked as old.
() => {
  const panel = document.querySelector('.pdm-panel');
  const seen = [];
  const observer = new MutationObserver(() => {
    const word = panel.querySelector('.pdm-head .pdm-verdict strong');
    const body = panel.querySelector('.pdm-body');
    if (word && body) seen.push([word.textContent, body.classList.contains('pdm-stale')]);
  });
  observer.observe(panel, {subtree: true, childList: true, attributes: true, characterData: true});
  seen.stop = () => { observer.disconnect(); return seen; };
  window.seen = seen;
};
