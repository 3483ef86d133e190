// Hands: what keys, mouse and clipboard do to the editable table. Edits travel as small messages that name rows
// by key, never by position.

class Hands {
  constructor(grid) {
    this.grid = grid;
    this.model = grid.model;
    this.sent = grid.model.get('heard');
    this.waiting = new Map(); // cell to the message that carries its text, until that message is heard
  }

  // ---- messages ----

  send(message) {
    this.model.send({...message, n: ++this.sent});
  }

  // Cells whose message has been heard may be painted again.
  heard() {
    const done = [...this.waiting].filter(([, n]) => n <= this.model.get('heard')).map(([e]) => e);
    for (const e of done) this.waiting.delete(e);
    return done;
  }

  commit(e) {
    delete e.dataset.dirty;
    if (e.type !== 'checkbox' && e.dataset.was === e.value) return;
    e.dataset.was = e.value;
    this.send({op: 'edit', edits: [[this.grid.keyOf(e), e.dataset.col, textOf(e)]]});
    this.waiting.set(e, this.sent);
  }

  settle(e) {
    if (e.dataset.dirty) this.commit(e);
  }

  add() {
    this.send({op: 'add', after: this.grid.current()});
    this.grid.follow = this.sent; // the focus goes to the new row once it is there
  }

  copy() {
    if (this.grid.current() !== null) this.send({op: 'copy', key: this.grid.current()});
    this.grid.follow = this.sent;
  }

  // The text of the upper cell into those below it: of a range, or of the cell above this one.
  fill() {
    const here = this.grid.body.querySelector('[tabindex="0"]'), range = this.grid.range.rows;
    const rows = range.length ? range : [here?.closest('tr').previousElementSibling, here?.closest('tr')];
    if (!here || !rows.every(Boolean)) return;
    this.send({op: 'fill', keys: rows.map((tr) => Number(tr.dataset.key)), column: here.dataset.col});
    this.grid.focus(here);
  }

  dropState() {
    const here = this.grid.body.querySelector('[tabindex="0"]');
    if (here && here.dataset.col !== 'command') this.send({op: 'dropstate', name: here.dataset.col});
  }

  remove() {
    if (this.grid.current() !== null) this.send({op: 'delete', key: this.grid.current()});
  }

  // Escape: first the typing goes, then the refused text, then the focus leaves the table.
  giveUp(e) {
    const key = this.grid.keyOf(e), column = e.dataset.col;
    if (e.dataset.dirty) {
      delete e.dataset.dirty;
      e.value = e.dataset.was;
      e.select();
    } else if (this.model.get('drafts')[key]?.[column] !== undefined) this.send({op: 'revert', key, column});
    else this.grid.leave();
  }

  // ---- keyboard ----

  keydown(ev) {
    ev.stopPropagation(); // or the notebook takes Enter, arrows and letters for its own
    const e = ev.target;
    if ((ev.ctrlKey || ev.metaKey) && ev.key.toLowerCase() === 's') {
      ev.preventDefault();
      if (e.dataset.col) this.settle(e);
      return this.send({op: 'save'});
    }
    if (e.dataset.sort) return this.headKey(ev, e);
    if (e === this.grid.filter) return this.filterKey(ev);
    if (!e.dataset.col) return;
    const act = this.shortcut(ev, e) || this.movement(ev, e);
    if (!act) return;
    ev.preventDefault();
    act();
  }

  // In the heading: arrows go from column to column and back into the table; Enter and Space sort.
  headKey(ev, e) {
    const th = e.parentElement, to = {
      ArrowLeft: th.previousElementSibling?.querySelector('[data-sort]'),
      ArrowRight: th.nextElementSibling?.querySelector('[data-sort]'),
      ArrowDown: this.grid.body.rows[0]?.cells[th.cellIndex].firstChild,
      Escape: this.grid.body.querySelector('[tabindex="0"]'),
    }[ev.key];
    if (!to) return;
    ev.preventDefault();
    this.grid.focus(to);
  }

  filterKey(ev) {
    if (ev.key === 'Escape' && this.grid.view.words) this.grid.view.clear();
    else if (ev.key === 'Enter' || ev.key === 'ArrowDown') this.grid.focus(this.grid.body.rows[0]?.cells[1].firstChild);
    else return;
    ev.preventDefault();
  }

  shortcut(ev, e) {
    if (ev.key === 'Escape') return () => this.giveUp(e);
    if ((ev.ctrlKey || ev.metaKey) && ev.key.toLowerCase() === 'd') return () => { this.settle(e); this.fill(); };
    if (ev.key === 'Delete' && this.grid.range.rows.length && !ev.altKey) return () => this.clearRange();
    return ev.altKey ? this.rowShortcut(ev, e) : this.undoShortcut(ev, e);
  }

  rowShortcut(ev, e) {
    const act = {Enter: () => this.add(), Delete: () => this.remove()}[ev.key];
    const copy = ev.shiftKey && ev.key === 'ArrowDown' ? () => this.copy() : null;
    return act || copy ? () => { this.settle(e); (act || copy)(); } : null;
  }

  // While a cell is being typed in, undo is the browser's own.
  undoShortcut(ev, e) {
    if (!(ev.ctrlKey || ev.metaKey) || e.dataset.dirty) return null;
    const key = ev.key.toLowerCase();
    const op = key === 'y' || (key === 'z' && ev.shiftKey) ? 'redo' : key === 'z' ? 'undo' : null;
    return op ? () => this.send({op}) : null;
  }

  movement(ev, e) {
    if (ev.altKey || ev.ctrlKey || ev.metaKey) return null;
    const back = ev.shiftKey ? -1 : 1;
    if (ev.shiftKey && ev.key === 'ArrowDown') return () => this.grid.range.extend(this.grid.below(this.grid.range.to || e, 1));
    if (ev.shiftKey && ev.key === 'ArrowUp') return () => this.grid.range.extend(this.grid.below(this.grid.range.to || e, -1));
    switch (ev.key) {
      case 'Enter': return () => this.step(e, back);
      case 'ArrowDown': return () => this.step(e, 1);
      case 'ArrowUp': return () => this.step(e, -1) || this.toHead(e);
      case 'Tab': return this.sideways(e, back);
      case 'ArrowRight': return this.atEdge(e, 1) ? this.sideways(e, 1) : null;
      case 'ArrowLeft': return this.atEdge(e, -1) ? this.sideways(e, -1) : null;
      default: return null;
    }
  }

  atEdge(e, direction) {
    if (e.type !== 'text') return true;
    const all = e.selectionStart === 0 && e.selectionEnd === e.value.length;
    const at = direction > 0 ? e.selectionStart === e.value.length : e.selectionEnd === 0;
    return at || (all && !e.dataset.dirty);
  }

  step(e, rows) {
    this.settle(e);
    const to = this.grid.below(e, rows);
    this.grid.focus(to);
    return to;
  }

  // Above the first row is the heading.
  toHead(e) {
    this.grid.table.tHead.rows[0].cells[Number(e.dataset.j) + 1].firstChild.focus();
  }

  // Past either end of the table Tab is the browser's own, so nobody is caught in here.
  sideways(e, cells) {
    const next = this.grid.beside(e, cells);
    return next ? () => { this.settle(e); this.grid.focus(next); } : null;
  }

  // ---- mouse ----

  // As in a spreadsheet: the first click takes the whole cell, so that typing replaces it; the next sets the caret.
  pressed(ev) {
    if (ev.shiftKey && ev.target.dataset.col && this.grid.range.from) {
      ev.preventDefault();
      return this.grid.range.extend(ev.target);
    }
    if (ev.target.dataset.col) this.grid.range.begin(ev.target);
    this.pressedOn = ev.target === document.activeElement ? null : ev.target;
  }

  clicked(ev) {
    const e = ev.target;
    if (e === this.pressedOn && e.type === 'text' && e.selectionStart === e.selectionEnd) e.select();
  }

  // ---- clipboard ----

  paste(ev) {
    ev.stopPropagation();
    const e = ev.target, text = ev.clipboardData.getData('text/plain');
    const many = /[\t\n\r]/.test(text.replace(/[\r\n]+$/, '')) || e.type !== 'text';
    if (!e.dataset.col || !many) return;
    ev.preventDefault();
    delete e.dataset.dirty;
    this.send({op: 'paste', key: this.grid.keyOf(e), column: e.dataset.col, text, ...this.below(e)});
  }

  // Where rows are sorted or filtered, a paste goes into those that are shown.
  below(e) {
    if (!this.grid.view.active) return {};
    const rows = [...this.grid.body.rows].slice(e.closest('tr').sectionRowIndex);
    return {shown: rows.map((tr) => Number(tr.dataset.key))};
  }

  copyRange(ev) {
    ev.stopPropagation();
    const cells = this.grid.range.cells;
    if (!cells.length) return;
    ev.preventDefault();
    ev.clipboardData.setData('text/plain', cells.map((e) => quoted(textOf(e))).join('\n'));
  }

  clearRange() {
    const edits = this.grid.range.cells.map((e) => [this.grid.keyOf(e), e.dataset.col, '']);
    this.send({op: 'edit', edits});
  }

  take() {
    const lines = this.model.get('shown').map((row) => row.map(quoted).join('\t'));
    const text = [this.grid.columns.map((c) => c.key).join('\t'), ...lines].join('\n');
    const tell = (words) => { this.grid.notice.textContent = words; };
    const put = navigator.clipboard?.writeText(text) ?? Promise.reject(new Error('no clipboard'));
    put.then(() => tell('the table is on the clipboard'), () => tell('the browser did not allow copying'));
  }
}
