// The field sheet as a table: every cell checked as it is typed, saved once all of them can be read.

import { get, post, put } from './api.js'
import { el } from './parts.js'
import { unitShown, unitWords } from './units.js'

const TITLES = {
  photo: 'Photo', wall: 'Wall', pit: 'Pit', treatment: 'Treatment', date: 'Date', crop: 'Crop', stage: 'Stage',
  scale: 'Scale object', layers: 'Layers', tool_depth_in: 'Tool depth', shank_spacing_in: 'Shank spacing',
  shanks_at_in: 'Shanks at', pit_depth_in: 'Pit depth', notes: 'Notes', standoff_in: 'Standoff',
  level: 'Plumb from', lens: 'Lens', calipers: 'Calipers',
}
const title = (column) => TITLES[column] + (column.endsWith('_in') ? `, ${unitShown()}` : '')
const TELL = {
  in: { scale: 'card', layers: 'disk 6; A/B 13', shanks_at_in: '-22; 8', tool_depth_in: '14' },
  cm: { scale: 'card', layers: 'disk 15; A/B 33', shanks_at_in: '-56; 20', tool_depth_in: '36' },
}
const PAUSE_MS = 250

export async function showSheet(shell) {
  const sheet = await get('/api/sheet')
  const status = el('p', { role: 'status', class: 'lead' })
  const faults = el('ul', { class: 'notes' })
  const cells = []
  const tell = TELL[unitShown()]
  const [, many, other] = unitWords()
  let { revision } = sheet
  let timer = null
  let changes = 0 // so many were typed
  let kept = 0 // and so many of them are saved
  let saving = Promise.resolve()

  const read = () => ({ columns: sheet.columns, rows: cells.map((row) => row.map((input) => input.value)) })

  function show(found) {
    const wrong = new Map(found.map((fault) => [`${fault.row}/${fault.column}`, fault.says]))
    cells.forEach((row, r) => row.forEach((input, c) => {
      const says = wrong.get(`${r}/${sheet.columns[c]}`)
      if (says) input.setAttribute('aria-invalid', 'true')
      else input.removeAttribute('aria-invalid')
      input.title = says || ''
    }))
    faults.replaceChildren(...found.map(({ row, column, says }) =>
      el('li', {}, el('b', {}, `${cells[row][0].value || `Row ${row + 1}`}, ${title(column)}: `), says)))
  }

  /** One after the other, or what was typed first could be written last. */
  const save = () => { saving = saving.then(send); return saving }

  async function send() {
    const typed = changes
    try {
      const answer = await put('/api/sheet', { ...read(), revision })
      revision = answer.revision
      if (answer.saved) kept = typed
      if (typed !== changes) return
      show(answer.faults)
      status.textContent = answer.saved ? 'Saved to sheet.csv.' : 'Not saved yet: mend the marked cells first.'
      shell.look()
    } catch (error) {
      status.textContent = `Not saved: ${error.message}`
    }
  }

  const changed = () => {
    clearTimeout(timer)
    changes += 1
    status.textContent = 'Checking …'
    timer = setTimeout(async () => {
      const typed = changes
      const { faults: found } = await post('/api/sheet/check', read()).catch(() => ({ faults: [] }))
      // What was typed meanwhile is checked after a pause of its own.
      if (typed !== changes) return
      show(found)
      if (found.length) status.textContent = 'Not saved yet: mend the marked cells first.'
      else await save()
    }, PAUSE_MS)
  }

  const cell = (value, r, column) => {
    const input = el('input', { value, 'aria-label': `${title(column)}, row ${r + 1}`, placeholder: tell[column] ? `such as ${tell[column]}` : '',
      spellcheck: 'false', autocomplete: 'off', oninput: changed, readonly: column === 'photo', style: `--letters:${Math.max(6, Math.min(value.length + 3, 26))}` })
    return input
  }
  const rows = sheet.rows.map((row, r) => {
    const inputs = row.map((value, c) => cell(value, r, sheet.columns[c]))
    cells.push(inputs)
    return el('tr', {}, inputs.map((input, c) => c === 0 ? el('th', { scope: 'row' }, input) : el('td', {}, input)))
  })
  shell.main.append(el('section', { class: 'pad wide' }, el('h1', {}, 'Sheet'),
    el('p', {}, `What is known of each photo. Blank cells are allowed; a bare number is ${many}, and ${other} is understood too.`),
    rows.length ? el('div', { class: 'scroller', tabindex: '0', role: 'region', 'aria-label': 'Field sheet' },
      el('table', { class: 'sheet' },
        el('thead', {}, el('tr', {}, sheet.columns.map((name) => el('th', { scope: 'col' }, title(name))))),
        el('tbody', {}, rows))) : el('p', {}, 'There is no photo yet.'),
    status, faults))
  show(sheet.faults)
  return { leave: () => { clearTimeout(timer); if (kept < changes) save() } }
}
