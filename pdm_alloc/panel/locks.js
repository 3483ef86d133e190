// The channels of a module with the loads on them: a load is dragged to a channel, or sent there from two lists, and locked.

class ChannelList {
  constructor(model, el) {
    this.model = model;
    this.root = document.createElement('div');
    this.root.className = 'pdm-locks';
    this.root.addEventListener('keydown', (ev) => ev.stopPropagation()); // or the notebook takes keys for its own
    this.form = this.made('div', 'pdm-controls');
    this.notice = this.made('p', 'pdm-said');
    this.notice.setAttribute('role', 'status');
    this.reasons = this.made('ul', 'pdm-locks-reasons');
    this.list = this.made('ul', 'pdm-locks-list');
    this.list.setAttribute('aria-label', 'channels and the loads on them');
    this.fields();
    el.append(this.root);
    this.onChange = () => this.paint();
    model.on('change', this.onChange);
    this.paint();
  }

  made(name, css, parent = this.root, text = '') {
    const element = document.createElement(name);
    element.className = css;
    element.textContent = text;
    parent.append(element);
    return element;
  }

  button(text, label, act, parent) {
    const b = this.made('button', 'pdm-locks-button', parent, text);
    b.type = 'button';
    if (label) b.setAttribute('aria-label', label);
    b.addEventListener('click', act);
    return b;
  }

  // ---- the two lists: all that a drag can do ----

  fields() {
    this.load = this.choice('load');
    this.channel = this.choice('channel');
    this.button('Lock', 'lock the load to the channel', () => this.lock(), this.form);
    this.free = this.button('Unlock', 'unlock the load', () => this.unlock(this.load.value, ''), this.form);
    this.freeAll = this.button('Unlock all', '', () => this.model.send({op: 'unlock all'}), this.form);
    this.load.addEventListener('change', () => this.paintForm());
  }

  choice(name) {
    const label = this.made('label', '', this.form, name + ' ');
    const select = this.made('select', '', label);
    return select;
  }

  options(select, values, text = (value) => value) {
    const before = select.value;
    select.replaceChildren(...values.map((value) => new Option(text(value), value)));
    if (values.includes(before)) select.value = before;
  }

  // A load that was picked on one of several channels leaves that one.
  lock() {
    const origin = this.origin?.load === this.load.value ? this.origin.channel : '';
    this.send('lock', this.load.value, this.channel.value, origin);
  }

  send(op, load, to, origin = '') {
    if (load && to) this.model.send({op, load, to, origin});
  }

  unlock(load, channel) {
    this.model.send({op: 'unlock', load, channel});
  }

  // ---- painting ----

  // What is being dragged must stay in the page, or the drag ends: painting waits for it.
  paint() {
    this.late = Boolean(this.dragged);
    if (this.late) return;
    const focused = this.root.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
    this.list.classList.toggle('pdm-stale', this.model.get('old'));
    this.options(this.load, this.model.get('loads'));
    this.options(this.channel, this.model.get('targets'));
    this.notice.textContent = this.model.get('notice');
    this.reasons.replaceChildren(...this.model.get('reasons').map((reason) => this.reason(reason)));
    this.list.replaceChildren(...this.model.get('channels').map((channel) => this.entry(channel)));
    this.paintForm();
    if (focused) this.root.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus();
  }

  paintForm() {
    const locks = this.model.get('locks');
    this.free.disabled = !locks.some((lock) => lock.load === this.load.value);
    this.freeAll.disabled = !locks.length;
    this.freeAll.textContent = locks.length ? `Unlock all (${locks.length})` : 'Unlock all';
  }

  reason({load, channel, words}) {
    const item = this.made('li', '', this.reasons, '\u26a0 ' + words + ' ');
    if (load) this.button('Unlock', `unlock ${load}`, () => this.unlock(load, channel), item);
    return item;
  }

  entry({channel, rating, spare, loads}) {
    const item = this.made('li', 'pdm-locks-channel' + (loads.length ? '' : ' pdm-locks-free'), this.list);
    item.dataset.channel = channel;
    this.made('strong', '', item, channel);
    this.made('span', 'pdm-soft', item, ' ' + rating + (spare ? ', spare' : ''));
    for (const load of loads) this.chip(load, channel, item);
    this.takesDrops(item, channel);
    return item;
  }

  chip({load, items, locked}, channel, item) {
    const chip = this.button('', '', () => this.pick(load, channel), item);
    chip.className = 'pdm-locks-load' + (locked ? ' pdm-locks-held' : '');
    chip.dataset.key = load + '\u0000' + channel;
    chip.textContent = load + (items > 1 ? ' \u00d7' + items : '') + (locked ? ' \u00b7 locked' : '');
    chip.title = locked ? 'locked here; Delete unlocks it' : 'drag it to a channel, or press Enter to choose one';
    chip.draggable = true;
    chip.addEventListener('dragstart', (ev) => {
      ev.stopPropagation();
      ev.dataTransfer.setData('text/plain', load);
      ev.dataTransfer.effectAllowed = 'move';
      this.dragged = {load, channel};
    });
    chip.addEventListener('dragend', () => {
      this.dragged = undefined;
      if (this.late) this.paint();
    });
    chip.addEventListener('keydown', (ev) => {
      if (ev.key === 'Delete' && locked) this.unlock(load, channel);
    });
  }

  // Enter on a load: both lists are set to where it is, and the channel can be chosen.
  pick(load, channel) {
    this.load.value = load;
    this.channel.value = channel;
    this.origin = {load, channel};
    this.paintForm();
    this.channel.focus();
  }

  takesDrops(item, channel) {
    const over = (is) => item.classList.toggle('pdm-locks-over', is);
    item.addEventListener('dragover', (ev) => {
      if (!this.dragged) return;
      ev.preventDefault();
      over(true);
    });
    item.addEventListener('dragleave', () => over(false));
    item.addEventListener('drop', (ev) => {
      ev.preventDefault();
      ev.stopPropagation();
      over(false);
      if (this.dragged) this.send('lock', this.dragged.load, channel, this.dragged.channel);
    });
  }
}

export default {
  render({model, el}) {
    const list = new ChannelList(model, el);
    return () => model.off('change', list.onChange);
  },
};
