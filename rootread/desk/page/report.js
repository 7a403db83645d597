// Hand over: the report written as the command line writes it, opened or saved as one file.

import { picture, post } from './api.js'
import { el } from './parts.js'

const MOST_NAMES = 12

export function showReport(shell) {
  const state = el('p', { role: 'status', class: 'lead' })
  const write = el('button', { class: 'button strong', type: 'button', onclick: async () => {
    await post('/api/report').catch((error) => shell.say(error.message))
    shell.look()
  } }, 'Write the report')
  const withReport = (use) => () => picture('/api/report.html').then(({ blob }) => use(URL.createObjectURL(blob))).catch((error) => shell.say(error.message))
  const open = el('button', { class: 'button', type: 'button', onclick: withReport((address) => window.open(address, '_blank')) }, 'Open it')
  const save = el('button', { class: 'button', type: 'button', onclick: withReport((address) => {
    el('a', { href: address, download: 'report.html' }).click()
    URL.revokeObjectURL(address)
  }) }, 'Save a copy')
  const doubts = el('p')
  let named = null
  shell.main.append(el('section', { class: 'pad' }, el('h1', {}, 'Hand over'),
    el('p', {}, 'One page with every wall, its picture, its grade and what to do, for a person to read on paper or on a ' +
      'phone. Tables, pictures and root lines are written beside it, as the command line writes them.'),
    doubts, el('p', { class: 'row' }, write, open, save), state))
  return {
    update(desk) {
      const { state: now, done, total, says } = desk.report
      const unseen = desk.walls.filter((wall) => wall.status === 'read' && !wall.checked)
      const unseenNames = unseen.map((wall) => wall.name).join('\n')
      if (unseenNames !== named) {
        named = unseenNames
        const names = unseen.slice(0, MOST_NAMES).flatMap((wall, k) => [k ? ', ' : '', el('a', { href: `#/wall/${encodeURIComponent(wall.name)}` }, wall.name)])
        const more = unseen.length > MOST_NAMES ? ` and ${unseen.length - MOST_NAMES} more` : ''
        doubts.replaceChildren(...(unseen.length ? ['Not checked by eye yet, and the report says so: ', ...names, `${more}.`] : []))
      }
      write.disabled = now === 'writing' || !desk.walls.length
      open.hidden = save.hidden = now !== 'ready'
      state.textContent = { none: '', writing: `Writing: ${done} of ${total} walls …`, ready: `Written into the folder ${desk.results}.`, failed: says }[now]
    },
  }
}
