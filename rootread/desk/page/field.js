// The field: every wall hung from one ground line, at one scale, those that need a look first.

import { picture, wallPath } from './api.js'
import { el, gradeBar, heldPicture, verdictWords } from './parts.js'

const GROUPS = [
  ['Look at these first', (wall) => wall.cause || (wall.status === 'read' && wall.urgency > 0 && !wall.checked)],
  ['Nothing doubtful', (wall) => wall.status === 'read' && wall.urgency === 0 && !wall.checked],
  ['Checked by eye', (wall) => wall.status === 'read' && wall.checked],
  ['Being read', (wall) => wall.status === 'waiting' || wall.status === 'reading'],
]

export function showField(shell) {
  const input = (id, label, folder) => [
    el('input', { type: 'file', id, class: 'file', multiple: true, accept: folder ? false : 'image/*,.heic,.heif,.tif,.tiff',
      webkitdirectory: folder, onchange: (event) => { shell.add(event.target.files); event.target.value = '' } }),
    el('label', { for: id, class: 'button' }, label),
  ]
  const heading = el('h1', {}, 'Field')
  const intro = el('p', { class: 'intro' })
  const notes = el('ul', { class: 'notes' })
  const groups = el('div')
  const bare = el('section', { class: 'bare' }, el('h2', {}, 'What a photo needs'),
    el('ul', {}, ['The scale object against the wall, whole and sharp: the printed card, a banded staff, or a tape.',
      'The whole wall from the soil surface down, camera square to it.', 'Even light, with no shadow edge across the roots.'].map((text) => el('li', {}, text))),
    el('p', {}, 'A photo without a scale is taken too: mark two points on it whose distance you know. A sheet.csv in the same folder is taken in with the photos.'))
  shell.main.append(el('section', { class: 'pad' },
    el('div', { class: 'opening' }, heading, intro,
      el('div', { class: 'adders' }, input('add-photos', 'Add photos'), input('add-folder', 'Add a folder', true))),
    notes, groups))
  let drawn = ''
  const pictures = new Map()

  function wallItem(wall) {
    const read = wall.status === 'read'
    const key = `${wall.name}:${wall.version}`
    if (read && !pictures.has(key)) pictures.set(key, heldPicture(() => picture(wallPath(wall.name, '/small.flat.jpg')), { alt: '' }))
    const face = read ? pictures.get(key) : el('span', { class: 'unread' }, wall.status === 'refused' ? 'not read' : wall.stage || 'waiting')
    const refused = wall.cause && `${wall.cause} ${wall.remedy}`
    const says = !read ? refused : refused ? [verdictWords(wall), el('br'), refused] : wall.looks[0] || 'Nothing stands out.'
    return el('li', {}, el('a', { href: `#/wall/${encodeURIComponent(wall.name)}`, class: 'hung' },
      el('span', { class: 'above' },
        el('b', { title: wall.name }, wall.name),
        el('span', {}, [wall.pit !== wall.name && wall.pit, wall.treatment].filter(Boolean).join(' · ')),
        el('em', {}, [wall.checked && read && '✓ checked by eye', wall.marked && 'mended by hand'].filter(Boolean).join(', '))),
      el('span', { class: 'face' }, face),
      read && !refused && el('span', { class: 'verdict' }, verdictWords(wall), gradeBar(wall.grade)),
      el('span', { class: 'says' }, says)))
  }

  return {
    update(desk) {
      intro.textContent = desk.walls.length
        ? `Folder ${desk.folder}: its walls hang from one ground line at one scale. Open one to check its reading.`
        : 'Drop photos of pit walls anywhere on this page, or add them here.'
      if (desk.walls.length) bare.remove()
      else if (!bare.isConnected) notes.after(bare)
      notes.replaceChildren(...desk.messages.map((text) => el('li', {}, text)))
      const now = JSON.stringify(desk.walls)
      if (now === drawn) return
      drawn = now
      const focused = document.activeElement?.getAttribute?.('href')
      groups.replaceChildren(...GROUPS.map(([title, belongs]) => {
        const walls = desk.walls.filter(belongs)
        return walls.length ? el('section', {}, el('h2', {}, `${title} (${walls.length})`),
          el('ul', { class: 'ground' }, walls.map(wallItem))) : ''
      }))
      if (focused) groups.querySelector(`a[href="${CSS.escape(focused)}"]`)?.focus()
    },
  }
}
