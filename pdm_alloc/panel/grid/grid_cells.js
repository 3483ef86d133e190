// Cells of the editable table: one editor for each kind of column.

// ---- cells: one editor for each kind of column ----

function makeEditor(column, listId) {
  if (column.kind === 'choice') return makeChoice(column);
  const e = make('input');
  e.type = column.kind === 'check' ? 'checkbox' : 'text';
  e.autocomplete = 'off';
  e.spellcheck = false;
  if (column.kind === 'number') e.inputMode = 'decimal';
  if (column.hint) e.placeholder = column.hint;
  if (column.kind === 'text') e.setAttribute('list', listId);
  return e;
}

function makeChoice(column) {
  const e = make('select');
  for (const word of column.options) e.append(new Option(word || '\u2013', word));
  return e;
}

function textOf(e) {
  return e.type === 'checkbox' ? (e.checked ? 'yes' : 'no') : e.value;
}

function putText(e, text) {
  if (e.type === 'checkbox') return putTick(e, text);
  if (e.tagName === 'SELECT') putOption(e, text);
  if (e.value !== text) e.value = text;
  e.dataset.was = text;
}

// A box cannot show a text that is neither yes nor no: the text stands beside it.
function putTick(e, text) {
  e.checked = text === 'yes';
  e.indeterminate = text !== 'yes' && text !== 'no';
  e.nextElementSibling.textContent = e.indeterminate ? text : '';
}

// A pasted word that is no choice stays visible as a choice of its own until it is put right.
function putOption(e, text) {
  e.querySelector('option[data-refused]')?.remove();
  if ([...e.options].some((o) => o.value === text)) return;
  const option = new Option(text, text);
  option.dataset.refused = '1';
  e.append(option);
}

// As a spreadsheet quotes a cell that holds a tab, a line end or a quote.
function quoted(text) {
  return /[\t\n\r"]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text;
}
