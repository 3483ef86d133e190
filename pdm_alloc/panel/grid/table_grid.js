// An editable table in the browser. State comes in whole (columns, order, shown, drafts, marks, faults, can, notice,
// heard); what the user does goes out as messages (see grid_hands.js). Cells are in grid_cells.js, sorting, filtering
// and ranges of cells in grid_view.js.

class Grid {
  constructor(model, el) {
    this.model = model;
    this.columns = model.get('columns');
    this.id = 'pdm-grid-' + Math.random().toString(36).slice(2, 9);
    this.painted = new Map(); // row key to what its row was last painted from
    this.hands = new Hands(this);
    this.view = new View(this);
    this.range = new CellRange(this);
    this.build(el);
    this.listen();
    this.sync();
  }

  // ---- building ----

  build(el) {
    this.root = make('div', 'pdm-grid');
    this.table = make('table');
    this.table.setAttribute('role', 'grid');
    this.table.setAttribute('aria-label', this.model.get('table'));
    this.buildHead();
    this.body = this.table.createTBody();
    this.wrap = make('div', 'pdm-grid-wrap');
    this.wrap.append(this.table);
    this.notice = make('div', 'pdm-grid-notice');
    this.notice.tabIndex = -1;
    this.notice.setAttribute('aria-live', 'polite');
    this.faults = make('ul', 'pdm-grid-faults');
    this.faults.setAttribute('aria-label', 'cells to put right');
    this.question = make('div', 'pdm-grid-question');
    this.question.setAttribute('role', 'alertdialog');
    this.question.hidden = true;
    this.lists = make('div');
    this.buildLists();
    this.root.append(this.buildBar(), this.question, this.wrap, this.notice, this.faults, this.lists);
    el.append(this.root);
  }

  buildHead() {
    const head = this.table.tHead || this.table.createTHead();
    head.replaceChildren();
    const line = head.insertRow();
    line.append(make('th', 'pdm-grid-index', '#'));
    for (const column of this.columns) {
      const th = make('th', column.more ? 'pdm-more' : '');
      const b = make('button', 'pdm-grid-sort', column.title + (column.unit ? ', ' + column.unit : ''));
      th.scope = 'col';
      th.title = column.meaning + '; click to sort';
      b.type = 'button';
      b.tabIndex = -1;
      b.dataset.sort = column.key;
      b.addEventListener('click', () => this.view.sortBy(column.key));
      th.append(b);
      line.append(th);
    }
  }

  buildBar() {
    const bar = make('div', 'pdm-grid-bar');
    bar.setAttribute('role', 'toolbar');
    bar.setAttribute('aria-label', 'rows');
    this.buttons = {};
    const button = (name, text, help, act) => {
      const b = make('button', 'pdm-grid-' + name, text);
      b.type = 'button';
      b.title = help;
      b.addEventListener('click', act);
      bar.append(b);
      this.buttons[name] = b;
    };
    button('add', 'Add row', 'a new row below this one (Alt+Enter)', () => this.hands.add());
    button('copy', 'Copy row', 'the same row again, below (Alt+Shift+Down)', () => this.hands.copy());
    button('delete', 'Delete row', 'delete this row (Alt+Delete)', () => this.hands.remove());
    button('fill', 'Fill down', 'the text of the upper cell into those below: Shift+Down or Shift+click marks them (Ctrl+D)', () => this.hands.fill());
    button('undo', 'Undo', 'one step back (Ctrl+Z)', () => this.hands.send({op: 'undo'}));
    button('redo', 'Redo', 'one step forward (Ctrl+Y)', () => this.hands.send({op: 'redo'}));
    button('take', 'Copy table', 'the whole table to the clipboard, for a spreadsheet', () => this.hands.take());
    button('wide', 'More columns', 'show or hide the less-used columns', () => this.widen());
    if (this.model.get('table') === 'states') this.buildStates(bar, button);
    this.filter = make('input', 'pdm-grid-filter');
    this.filter.type = 'search';
    this.filter.placeholder = 'filter rows';
    this.filter.setAttribute('aria-label', 'show only rows with these words');
    this.filter.addEventListener('input', () => this.view.filter(this.filter.value));
    this.counted = make('span', 'pdm-grid-counted');
    this.counted.setAttribute('aria-live', 'polite');
    bar.append(this.filter, this.counted);
    return bar;
  }

  // A state is a column: it is named, added and deleted here.
  buildStates(bar, button) {
    const name = make('input', 'pdm-grid-state');
    name.placeholder = 'name of a new state';
    name.setAttribute('aria-label', 'name of a new state');
    const add = () => { if (name.value.trim()) this.hands.send({op: 'state', name: name.value}); name.value = ''; };
    name.addEventListener('keydown', (ev) => { if (ev.key === 'Enter') add(); });
    bar.append(name);
    button('newstate', 'Add state', 'a column for the state named beside', add);
    button('dropstate', 'Delete state', 'delete the column of this cell', () => this.hands.dropState());
  }

  buildLists() {
    this.lists.replaceChildren(...this.columns.filter((c) => c.kind === 'text').map((column) => {
      const list = make('datalist');
      list.id = this.id + '-' + column.key;
      list.append(...column.choices.map((word) => new Option(word, word)));
      return list;
    }));
  }

  buildRow(key) {
    const tr = make('tr');
    tr.dataset.key = key;
    tr.append(make('th', 'pdm-grid-index'));
    this.columns.forEach((column, j) => {
      const td = tr.insertCell();
      const e = makeEditor(column, this.id + '-' + column.key);
      td.className = 'pdm-grid-' + column.kind + (column.more ? ' pdm-more' : '');
      td.style.setProperty('--pdm-width', column.width + 'em');
      e.dataset.col = column.key;
      e.dataset.j = j;
      e.tabIndex = -1;
      td.append(e, make('span', 'pdm-grid-said'));
    });
    return tr;
  }

  // ---- painting: only rows whose content differs from what was painted ----

  sync() {
    const focus = this.focused(), before = new Set(this.painted.keys());
    this.recolumn();
    const keys = this.view.shown(), fresh = this.model.get('order').filter((key) => !before.has(key));
    for (const e of this.hands.heard()) if (e.isConnected) this.painted.set(this.keyOf(e), '');
    this.at_ = new Map(this.model.get('order').map((key, i) => [key, i]));
    this.order(keys);
    keys.forEach((key, i) => this.paintRow(key, this.body.rows[i]));
    this.paintHead();
    this.paintBar(keys);
    this.paintFaults(this.model.get('order'));
    this.paintQuestion();
    this.range.paint();
    this.restore(focus, fresh, keys);
  }

  // Other names to choose from, or other columns altogether.
  recolumn() {
    const columns = this.model.get('columns'), old = this.columns;
    if (columns === old) return;
    this.columns = columns;
    const same = columns.length === old.length && columns.every((c, j) => c.key === old[j].key && c.kind === old[j].kind);
    if (same) columns.forEach((c, j) => { if (c.choices.join('\n') !== old[j].choices.join('\n')) this.reoffer(c, j); });
    else {
      this.buildHead();
      this.body.replaceChildren();
      this.painted.clear();
    }
    this.buildLists();
  }

  reoffer(column, j) {
    if (column.kind !== 'choice') return;
    for (const tr of this.body.rows) {
      const e = tr.cells[j + 1].firstChild, text = e.value;
      e.replaceChildren(...column.options.map((word) => new Option(word || '\u2013', word)));
      putText(e, text);
    }
  }

  order(keys) {
    const rows = new Map([...this.body.rows].map((tr) => [Number(tr.dataset.key), tr])), wanted = new Set(keys);
    for (const [key, tr] of rows) if (!wanted.has(key)) { tr.remove(); this.painted.delete(key); }
    keys.forEach((key, i) => {
      const tr = rows.get(key) || this.buildRow(key);
      if (this.body.rows[i] !== tr) this.body.insertBefore(tr, this.body.rows[i] || null);
    });
  }

  // Texts of a row as they are shown, refused ones included.
  texts(key, i) {
    const drafts = this.model.get('drafts')[key] || {};
    return this.columns.map((c, j) => drafts[c.key] ?? this.model.get('shown')[i][j]);
  }

  // What is wrong with a row although every cell is good, by column.
  faultsOf(key) {
    return Object.fromEntries(this.model.get('faults').filter((f) => f.key === key).map((f) => [f.column, f.text]));
  }

  paintRow(key, tr) {
    const i = this.at_.get(key), shown = this.model.get('shown')[i], drafts = this.model.get('drafts')[key] || {};
    const marks = {...this.faultsOf(key), ...this.model.get('marks')[key]};
    const content = JSON.stringify([i, shown, drafts, marks]);
    if (this.painted.get(key) === content) return;
    this.painted.set(key, content);
    tr.dataset.painted = Number(tr.dataset.painted || 0) + 1;
    tr.cells[0].textContent = i + 1;
    tr.classList.toggle('pdm-grid-open', this.columns.some((c, j) => c.required && shown[j] === '' && !(c.key in drafts)));
    this.columns.forEach((column, j) => {
      const good = shown[j], name = column.title + ', row ' + (i + 1);
      this.paintCell(tr.cells[j + 1], drafts[column.key] ?? good, marks[column.key] || '', name);
    });
  }

  paintHead() {
    for (const b of this.table.tHead.querySelectorAll('[data-sort]')) {
      const sign = this.view.sign(b.dataset.sort);
      b.parentElement.setAttribute('aria-sort', sign);
      b.dataset.sign = {ascending: ' \u25b4', descending: ' \u25be', none: ''}[sign];
    }
  }

  paintCell(td, text, mark, name) {
    const e = td.firstChild;
    if (!e.dataset.dirty && !this.hands.waiting.has(e)) putText(e, text);
    e.setAttribute('aria-label', mark ? name + ': ' + mark : name);
    e.setAttribute('aria-invalid', mark ? 'true' : 'false');
    e.title = mark;
    td.classList.toggle('pdm-grid-bad', Boolean(mark));
  }

  paintBar(keys) {
    const can = this.model.get('can'), any = this.body.rows.length > 0;
    this.buttons.undo.disabled = !can.undo;
    this.buttons.redo.disabled = !can.redo;
    this.buttons.copy.disabled = this.buttons.delete.disabled = this.buttons.fill.disabled = !any;
    this.buttons.wide.hidden = !this.columns.some((c) => c.more);
    this.counted.textContent = this.view.words ? keys.length + ' of ' + this.model.get('order').length + ' rows' : '';
    if (this.notice.textContent !== this.model.get('notice')) this.notice.textContent = this.model.get('notice');
  }

  paintFaults(keys) {
    const marks = this.model.get('marks'), at = new Map(keys.map((key, i) => [key, i]));
    this.faults.replaceChildren(...keys.flatMap((key, i) =>
      this.columns.filter((c) => marks[key]?.[c.key]).map((c) => this.faultLine(key, i, c, marks[key][c.key]))),
    ...this.model.get('faults').map((fault) => this.tableFault(fault, at.get(fault.key))));
  }

  // A fault of the table: every cell of it is good, and something contradicts something else.
  tableFault(fault, i) {
    const line = make('li'), column = this.columns.find((c) => c.key === fault.column);
    const where = (i === undefined ? '' : 'row ' + (i + 1) + (column ? ', ' + column.title : '') + ': ');
    const link = make(i === undefined ? 'span' : 'button', 'pdm-grid-fault', '\u26a0 ' + where + fault.text);
    if (i !== undefined) {
      link.type = 'button';
      link.addEventListener('click', () => this.goTo(fault.key, fault.column || this.columns[0].key));
    }
    line.append(link);
    return line;
  }

  faultLine(key, i, column, mark) {
    const line = make('li'), link = make('button', 'pdm-grid-fault');
    link.type = 'button';
    const drafts = this.model.get('drafts')[key] || {}, good = this.model.get('shown')[i][this.columns.indexOf(column)];
    const kept = column.key in drafts && good !== '' ? '; until then ' + good + ' counts' : '';
    link.textContent = '\u26a0 row ' + (i + 1) + ', ' + column.title + ': ' + mark + kept;
    link.addEventListener('click', () => this.goTo(key, column.key));
    line.append(link, ...this.answers(this.model.get('asked')[key]?.[column.key], column));
    return line;
  }

  // A name that may be a slip: take the nearest known one, or keep it as new.
  answers(asked, column) {
    if (!asked) return [];
    const answer = (words, name) => this.choice(words, () => this.hands.send({op: 'answer', column: column.key, text: asked.text, name}));
    return [
      ...(asked.near ? [answer('Use ' + asked.near, asked.near)] : []),
      ...(asked.new ? [answer('Keep ' + asked.new + ' as new', asked.new)] : []),
    ];
  }

  choice(words, act) {
    const b = make('button', 'pdm-grid-choice', words);
    b.type = 'button';
    b.addEventListener('click', act);
    return b;
  }

  // What a paste would replace is said before anything is.
  paintQuestion() {
    const {words, message} = this.model.get('question');
    if ((words || '') === (this.question.dataset.words || '')) return;
    this.question.dataset.words = words || '';
    this.question.hidden = !words;
    if (!words) return this.question.replaceChildren();
    const say = (how) => () => { this.hands.send({...message, how}); this.focus(this.cell(message.key, message.column)); };
    const no = () => { this.hands.send({op: 'forget'}); this.focus(this.cell(message.key, message.column)); };
    this.question.replaceChildren(
      make('span', '', words), this.choice('Replace', say('replace')), this.choice('Insert as new rows', say('below')),
      this.choice('Cancel', no));
    this.question.setAttribute('aria-label', words);
    this.question.onkeydown = (ev) => { if (ev.key === 'Escape') no(); };
    this.question.querySelector('button').focus();
  }

  // ---- focus ----

  focused() {
    const e = document.activeElement, tr = this.root.contains(e) ? e.closest('tr[data-key]') : null;
    return tr ? {key: Number(tr.dataset.key), col: e.dataset.col, i: tr.sectionRowIndex} : null;
  }

  restore(focus, fresh, keys) {
    const followed = this.follow && this.follow <= this.model.get('heard');
    if (followed && fresh.length === 1) this.goTo(fresh[0], this.columns[0].key);
    else if (focus && !keys.includes(focus.key)) this.goTo(keys[Math.min(focus.i, keys.length - 1)], focus.col);
    if (followed) this.follow = 0;
    if (!this.body.querySelector('[tabindex="0"]')) this.enter(this.neighbour());
    this.place();
  }

  // Where the way in was, so that deleting a row leads to the next one and not to the first.
  place() {
    const e = this.body.querySelector('[tabindex="0"]');
    this.at = e ? {i: e.closest('tr').sectionRowIndex, j: Number(e.dataset.j)} : this.at;
  }

  neighbour() {
    const i = Math.min(this.at?.i ?? 0, this.body.rows.length - 1);
    return this.body.rows[i]?.cells[(this.at?.j ?? 0) + 1].firstChild;
  }

  cell(key, col) {
    return this.body.querySelector(`tr[data-key="${key}"] [data-col="${col}"]`);
  }

  goTo(key, col) {
    if (this.view.hidden.has(key)) this.view.clear();
    const e = this.cell(key, col);
    if (!e) return this.buttons.add.focus();
    if (e.offsetParent === null) this.widen();
    return this.focus(e);
  }

  // One cell is the way in with Tab; inside, arrows, Enter and Tab go from cell to cell.
  enter(e) {
    for (const old of this.body.querySelectorAll('[tabindex="0"]')) if (old !== e) this.mark(old, false);
    if (e) this.mark(e, true);
    this.place();
  }

  mark(e, isIn) {
    e.tabIndex = isIn ? 0 : -1;
    e.closest('tr').classList.toggle('pdm-grid-here', isIn);
  }

  current() {
    const e = this.body.querySelector('[tabindex="0"]');
    return e ? Number(e.closest('tr').dataset.key) : null;
  }

  focus(e) {
    if (!e) return;
    e.focus();
    e.select?.();
  }

  keyOf(e) {
    return Number(e.closest('tr').dataset.key);
  }

  below(e, rows) {
    return this.body.rows[e.closest('tr').sectionRowIndex + rows]?.cells[Number(e.dataset.j) + 1].firstChild;
  }

  beside(e, cells) {
    const all = [...this.body.querySelectorAll('[data-col]')].filter((c) => c.offsetParent !== null);
    return all[all.indexOf(e) + cells];
  }

  leave() {
    this.notice.textContent = 'out of the table: Tab goes on, Shift+Tab goes back in';
    this.notice.focus();
  }

  widen() {
    this.buttons.wide.setAttribute('aria-pressed', String(this.root.classList.toggle('pdm-grid-wide')));
  }

  // ---- wiring ----

  listen() {
    this.body.addEventListener('input', (ev) => { if (ev.target.type === 'text') ev.target.dataset.dirty = '1'; });
    this.body.addEventListener('change', (ev) => { if (ev.target.dataset.col) this.hands.commit(ev.target); });
    this.body.addEventListener('focusin', (ev) => {
      if (!ev.target.dataset.col) return;
      this.enter(ev.target);
      if (!this.range.rows.length || !this.range.cells.includes(ev.target)) this.range.begin(ev.target);
    });
    this.body.addEventListener('mousedown', (ev) => this.hands.pressed(ev));
    this.body.addEventListener('click', (ev) => this.hands.clicked(ev));
    this.root.addEventListener('keydown', (ev) => this.hands.keydown(ev));
    this.root.addEventListener('paste', (ev) => this.hands.paste(ev));
    this.root.addEventListener('copy', (ev) => this.hands.copyRange(ev));
    this.root.addEventListener('cut', (ev) => ev.stopPropagation());
    // Cells that stay in sight cost time at every change of the page, so they stay only while the table is moved.
    this.wrap.addEventListener('scroll', () => this.root.classList.toggle('pdm-grid-moved', this.wrap.scrollLeft > 0));
    this.onChange = () => this.sync();
    this.model.on('change', this.onChange);
  }

  close() {
    this.model.off('change', this.onChange);
  }
}

export default {
  render({model, el}) {
    const grid = new Grid(model, el);
    return () => grid.close();
  },
};
