// Notes at every change of the page which word the verdict begins with and whether the pictures are marked as old.
() => {
  const panel = document.querySelector('.pdm-panel');
  const seen = [];
  const observer = new MutationObserver(() => seen.push([
    panel.querySelector('.pdm-head .pdm-verdict strong').textContent,
    panel.querySelector('.pdm-body').classList.contains('pdm-stale'),
  ]));
  observer.observe(panel, {subtree: true, childList: true, attributes: true, characterData: true});
  seen.stop = () => { observer.disconnect(); return seen; };
  window.seen = seen;
};
