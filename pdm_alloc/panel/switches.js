// Switches, lamps and bars in the browser. State comes in whole (fixed: groups of inputs, states; shown: what the
// present setting does); every press goes out as a message and the answer is painted, never guessed here.

const STEP_MS = 1800; // a step of the commissioning sheet stays in sight that long
const SLOWEST_FLASH_S = 0.5; // never faster than twice a second, whatever the table says (WCAG 2.1, 2.3.1)

function put(e, text) {
  if (e.textContent !== text) e.textContent = text;
}

class Board {
  constructor(model, el) {
    this.model = model;
    this.controls = new Map(); // name of an input to its control
    this.lamps = new Map();
    this.rows = {limits: new Map(), channels: new Map(), supply: new Map()};
    this.id = 'pdm-sw-' + Math.random().toString(36).slice(2, 9);
    this.build(el);
    // or the notebook takes arrows, space and letters for its own
    this.root.addEventListener('keydown', (ev) => { this.keydown(ev); ev.stopPropagation(); });
    this.heard = {'change:fixed': () => this.paintFixed(), 'change:shown': () => this.paint(), 'change:is_old': () => this.paintOld()};
    for (const [name, act] of Object.entries(this.heard)) model.on(name, act);
    this.paintFixed();
    this.paintOld();
  }

  end() {
    this.pause();
    for (const [name, act] of Object.entries(this.heard)) this.model.off(name, act);
  }

  send(message) {
    this.model.send(message);
  }

  // ---- building ----

  build(el) {
    this.root = make('div', 'pdm-switches');
    this.told = make('p', 'pdm-sw-model');
    this.press = make('p', 'pdm-sw-press');
    this.press.setAttribute('aria-live', 'polite');
    this.groups = make('div', 'pdm-sw-groups');
    this.lampList = this.list('pdm-sw-lamps', 'commands');
    this.offList = this.list('pdm-sw-off', 'what keeps commands off');
    const left = make('div', 'pdm-sw-left'), right = make('div', 'pdm-sw-right'), both = make('div', 'pdm-sw-both');
    left.append(this.titled('Inputs', this.groups), this.titled('Off, because', this.offList));
    this.bars = {};
    for (const name of ['supply', 'limits', 'channels']) this.bars[name] = this.list('pdm-sw-bars pdm-sw-' + name, name);
    this.limits = this.titled('Banks and module', this.bars.limits);
    this.channels = this.titled('Channels that carry current', this.bars.channels);
    right.append(this.titled('Commands', this.lampList), this.titled('Supply', this.bars.supply), this.limits, this.channels);
    both.append(left, right);
    this.root.append(this.told, this.buildBar(), this.buildSteps(), this.press, both);
    el.append(this.root);
  }

  list(className, label) {
    const list = make('ul', className);
    list.setAttribute('aria-label', label);
    return list;
  }

  titled(title, content) {
    const part = make('section');
    part.append(make('h3', '', title), content);
    return part;
  }

  button(className, text, label, act) {
    const b = make('button', className, text);
    b.type = 'button';
    if (label) b.setAttribute('aria-label', label);
    b.addEventListener('click', act);
    return b;
  }

  buildBar() {
    const bar = make('div', 'pdm-sw-bar');
    this.state = make('select', 'pdm-sw-state');
    this.state.id = this.id + '-state';
    this.state.addEventListener('change', () => { this.pause(); this.send({op: 'state', name: this.state.value}); });
    const label = make('label', '', 'State');
    label.htmlFor = this.state.id;
    const off = this.button('pdm-sw-alloff', 'All inputs off', '', () => { this.pause(); this.send({op: 'off'}); });
    bar.append(label, this.state, off);
    return bar;
  }

  buildSteps() {
    this.steps = make('div', 'pdm-sw-steps');
    this.steps.setAttribute('role', 'group');
    this.steps.setAttribute('aria-label', 'steps of the commissioning sheet');
    this.play = this.button('pdm-sw-play', 'Play', '', () => (this.timer ? this.pause() : this.start()));
    this.back = this.button('pdm-sw-back', 'Back', 'one step back', () => { this.pause(); this.go(-1); });
    this.next = this.button('pdm-sw-next', 'Step', 'next step', () => { this.pause(); this.go(1); });
    this.stepTold = make('span', 'pdm-sw-step');
    this.stepTold.setAttribute('aria-live', 'polite');
    this.steps.append(make('span', 'pdm-sw-title', 'Commissioning steps'), this.play, this.back, this.next, this.stepTold);
    return this.steps;
  }

  // ---- steps that play by themselves ----

  at() {
    return this.model.get('shown').step?.number || 0;
  }

  go(by) {
    const number = this.at() + by, last = this.model.get('fixed').steps || 0;
    if (number > last) return this.pause();
    this.send({op: 'step', number: Math.max(1, number)});
  }

  start() {
    if (this.at() >= (this.model.get('fixed').steps || 0)) this.send({op: 'step', number: 1});
    else this.go(1);
    this.timer = setInterval(() => this.go(1), STEP_MS);
    put(this.play, 'Pause');
  }

  pause() {
    clearInterval(this.timer);
    this.timer = 0;
    put(this.play, 'Play');
  }

  // ---- inputs ----

  paintFixed() {
    const fixed = this.model.get('fixed'), focus = this.root.contains(document.activeElement) && document.activeElement.dataset.input;
    this.pause();
    put(this.told, fixed.model || '');
    this.controls.clear();
    this.groups.replaceChildren(...(fixed.groups || []).map((group) => this.buildGroup(group)));
    const options = [new Option(fixed.bench || '', ''), ...(fixed.states || []).map(([name, span]) => new Option(name + ', ' + span, name))];
    this.state.replaceChildren(...options);
    this.steps.hidden = !fixed.steps;
    this.limits.hidden = this.channels.hidden = !fixed.judged;
    this.paint();
    if (focus) this.controls.get(focus)?.focus();
  }

  buildGroup(group) {
    const box = make('div', 'pdm-sw-group'), body = make('div', 'pdm-sw-inputs');
    box.setAttribute('role', 'group');
    box.setAttribute('aria-label', group.title);
    group.inputs.forEach((input, i) => {
      const control = this.buildControl(input);
      control.dataset.input = input.name;
      control.tabIndex = i ? -1 : 0; // one way in per group; arrows go on from there
      this.controls.set(input.name, control);
      body.append(control);
    });
    box.append(make('h4', '', group.title), body);
    return box;
  }

  buildControl(input) {
    const b = this.button('pdm-sw-' + input.control, '', '', () => { this.pause(); this.enter(b); this.send({op: 'press', name: input.name}); });
    b.setAttribute('role', input.control === 'slider' ? 'slider' : 'switch');
    b.setAttribute('aria-label', input.label);
    if (input.control === 'slider') for (const [name, value] of [['min', 0], ['max', 1]]) b.setAttribute('aria-value' + name, value);
    const kind = {bus: 'bus', analog: 'analog', command: ''}[input.kind] ?? '';
    b.append(make('span', 'pdm-sw-knob'), make('span', 'pdm-sw-name', input.label), make('span', 'pdm-sw-kind', kind));
    b.title = input.label + (kind === 'bus' ? ': a message on the bus' : kind === 'analog' ? ': the tables know no threshold, only on or off' : '');
    return b;
  }

  paintControl(b, on) {
    const slider = b.getAttribute('role') === 'slider';
    b.setAttribute(slider ? 'aria-valuenow' : 'aria-checked', slider ? Number(on) : String(on));
    if (slider) b.setAttribute('aria-valuetext', on ? 'on' : 'off');
    b.classList.toggle('pdm-sw-on', on);
  }

  enter(b) {
    for (const other of b.parentElement.children) other.tabIndex = other === b ? 0 : -1;
    b.focus();
  }

  keydown(ev) {
    const b = ev.target.closest?.('[data-input]');
    if (!b || ev.ctrlKey || ev.metaKey || ev.altKey) return;
    const every = [...b.parentElement.children], at = every.indexOf(b);
    const slides = b.getAttribute('role') === 'slider' ? {ArrowUp: true, ArrowDown: false}[ev.key] : undefined;
    const to = {ArrowRight: at + 1, ArrowDown: at + 1, ArrowLeft: at - 1, ArrowUp: at - 1, Home: 0, End: every.length - 1}[ev.key];
    if (slides !== undefined) {
      this.pause(); // said outright: a key held down repeats before it is seen what the first one did
      this.enter(b);
      this.send({op: 'press', name: b.dataset.input, on: slides});
    } else if (to !== undefined) this.enter(every[Math.max(0, Math.min(every.length - 1, to))]);
    else return;
    ev.preventDefault();
  }

  // ---- what it does ----

  paint() {
    const shown = this.model.get('shown'), on = new Set(shown.on || []);
    for (const [name, b] of this.controls) this.paintControl(b, on.has(name));
    if (this.state.value !== shown.state) this.state.value = shown.state || '';
    put(this.press, shown.press || '');
    this.paintStep(shown.step || {number: 0});
    this.paintRows(this.lampList, this.lamps, shown.lamps || [], (x) => x.name, () => this.buildLamp(), (li, x) => this.paintLamp(li, x));
    for (const name of ['supply', 'limits', 'channels']) {
      const bars = name === 'supply' ? shown.supply?.bars : shown[name];
      this.paintRows(this.bars[name], this.rows[name], bars || [], (x) => x.label, (x) => this.buildBarRow(name, x), (li, x) => this.paintBarRow(li, x, name));
    }
    this.offList.replaceChildren(...(shown.off || []).map(([name, why]) => {
      const li = make('li');
      li.append(make('strong', '', name), ': ' + why);
      return li;
    }));
  }

  // Rows that stay keep their element, so that a bar moves and a lamp does not start to flash anew.
  paintRows(list, known, items, keyOf, build, paint) {
    const keys = new Set(items.map(keyOf));
    for (const [key, li] of known) if (!keys.has(key)) { li.remove(); known.delete(key); }
    items.forEach((item, i) => {
      const key = keyOf(item), li = known.get(key) || build(item);
      known.set(key, li);
      if (list.children[i] !== li) list.insertBefore(li, list.children[i] || null);
      paint(li, item);
    });
  }

  buildLamp() {
    const li = make('li', 'pdm-sw-lamp');
    li.append(make('span', 'pdm-sw-bulb'), make('span', 'pdm-sw-name'), make('span', 'pdm-sw-does'));
    return li;
  }

  paintLamp(li, lamp) {
    const [bulb, name, does] = li.children, how = {flash: 'flashing, ', pwm: 'PWM, at most '}[lamp.action] || '';
    put(bulb, lamp.on ? '\u25cf' : '\u25cb');
    put(name, lamp.name);
    put(does, lamp.on ? how + lamp.amps : 'off');
    for (const word of ['on', 'flash', 'pwm']) li.classList.toggle('pdm-sw-' + word, lamp.on && (word === 'on' || lamp.action === word));
    li.style.setProperty('--pdm-cycle', Math.max(SLOWEST_FLASH_S, lamp.cycle || 0) + 's');
    li.dataset.command = lamp.name;
  }

  buildBarRow(name, bar) {
    const li = make('li', 'pdm-sw-row'), tube = make('span', 'pdm-sw-tube');
    tube.append(make('span', 'pdm-sw-fill'));
    tube.setAttribute('aria-hidden', 'true');
    li.append(make('span', 'pdm-sw-name'), tube, make('span', 'pdm-sw-amps'));
    if (name === 'limits') li.append(this.button('pdm-sw-worst', 'Worst', 'worst combination of ' + bar.label,
      () => { this.pause(); this.send({op: 'worst', limit: bar.label}); }));
    return li;
  }

  paintBarRow(li, bar, name) {
    const [title, tube, amps] = li.children, over = name !== 'supply' && bar.pct > 100;
    put(title, bar.label);
    tube.firstChild.style.width = Math.max(0, Math.min(100, bar.pct)) + '%';
    li.classList.toggle('pdm-sw-over', over);
    put(amps, bar.words + (name === 'supply' ? '' : ', ' + Math.round(bar.pct) + ' %' + (over ? ', too much' : '')));
    li.dataset.bar = bar.label;
  }

  paintStep(step) {
    const count = this.model.get('fixed').steps || 0;
    this.back.disabled = step.number < 2;
    this.next.disabled = step.number >= count;
    const answer = step.number && !step.right ? ' The model does not do this: look at the condition.' : '';
    put(this.stepTold, step.number ? step.number + ' of ' + count + ': ' + step.words + answer : count + ' steps, each input tried');
  }

  paintOld() {
    this.root.classList.toggle('pdm-sw-old', this.model.get('is_old'));
  }
}

function render({model, el}) {
  const board = new Board(model, el);
  return () => board.end();
}

export default {render};
