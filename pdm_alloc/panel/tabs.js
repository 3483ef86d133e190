// A line of tabs: arrows, Home and End go from tab to tab, a tab with faults behind it says how many.

class TabLine {
  constructor(model, el) {
    this.model = model;
    this.line = document.createElement('div');
    this.line.className = 'pdm-tab-line';
    this.line.setAttribute('role', 'tablist');
    this.line.addEventListener('keydown', (ev) => this.keydown(ev));
    el.append(this.line);
    this.onChange = () => this.paint();
    model.on('change', this.onChange);
    this.paint();
  }

  paint() {
    const titles = this.model.get('titles'), focused = this.line.contains(document.activeElement);
    this.line.setAttribute('aria-label', this.model.get('label'));
    if (titles.join('\n') !== this.titles) this.line.replaceChildren(...titles.map((title) => this.tab(title)));
    this.titles = titles.join('\n');
    for (const tab of this.line.children) this.paintTab(tab, tab.dataset.title === this.model.get('chosen'));
    if (focused) this.line.querySelector('[aria-selected="true"]')?.focus();
    this.paintPage();
  }

  tab(title) {
    const b = document.createElement('button');
    b.type = 'button';
    b.dataset.title = title;
    b.setAttribute('role', 'tab');
    b.addEventListener('click', () => this.choose(title));
    return b;
  }

  paintTab(tab, chosen) {
    const count = this.model.get('counts')[tab.dataset.title];
    tab.textContent = tab.dataset.title + (count ? ' \u26a0 ' + count : '');
    tab.setAttribute('aria-label', tab.dataset.title + (count ? ', ' + count + ' to put right' : ''));
    tab.setAttribute('aria-selected', String(chosen));
    tab.classList.toggle('pdm-tab-bad', Boolean(count));
    tab.tabIndex = chosen ? 0 : -1;
  }

  // On a page of its own the tab of the browser says which vehicle this is.
  paintPage() {
    const title = this.model.get('page_title');
    if (title && 'voila' in document.body.dataset) document.title = title;  // the shell of both has the class jp-LabShell
    const pages = this.line.closest('.pdm-tabs')?.querySelector('.pdm-pages');
    pages?.setAttribute('role', 'tabpanel');
    pages?.setAttribute('aria-label', this.model.get('chosen'));
  }

  choose(title) {
    this.model.set('chosen', title);
    this.model.save_changes();
    this.paint();
  }

  keydown(ev) {
    const titles = this.model.get('titles'), at = titles.indexOf(this.model.get('chosen')), last = titles.length - 1;
    const to = {ArrowRight: at === last ? 0 : at + 1, ArrowLeft: at === 0 ? last : at - 1, Home: 0, End: last}[ev.key];
    ev.stopPropagation(); // or the notebook takes arrows for its own
    if (to === undefined) return;
    ev.preventDefault();
    this.choose(titles[to]);
    this.line.children[to].focus();
  }
}

export default {
  render({model, el}) {
    const line = new TabLine(model, el);
    return () => model.off('change', line.onChange);
  },
};
