// Which screen is shown, what the desk is doing, and photos dropped anywhere.

import { get, put, sendPhoto, sendSheet, wallPath } from './api.js'
import { showField } from './field.js'
import { showPair } from './pair.js'
import { el, gradeBy, timeLeft } from './parts.js'
import { showReport } from './report.js'
import { showSecond } from './second.js'
import { showSheet } from './sheet.js'
import { showLengthsIn } from './units.js'
import { showWall } from './wall.js'

const SCREENS = { field: showField, wall: showWall, sheet: showSheet, pair: showPair, report: showReport, second: showSecond }
const BUSY_MS = 400
const IDLE_MS = 2500
const MOST_SAID = 6

const queue = document.getElementById('queue')
const trouble = document.getElementById('trouble')
const drop = document.getElementById('drop')

let screen = null
let desk = null
let uploads = []
let timer = null
let asked = 0
let answered = 0

const shell = {
  say(text) {
    trouble.textContent = text
    trouble.hidden = !text
  },
  desk: () => desk,
  look: () => { clearTimeout(timer); return poll() },
  add: (files) => addFiles(withPaths(files)),
}

async function route() {
  const [name, ...rest] = location.hash.replace(/^#\//, '').split('/').map(decodeURIComponent)
  screen?.leave?.()
  screen = null
  shell.say('')
  // Each screen has a place of its own: what one that was left still had to show comes to nothing.
  const place = el('main', { id: 'main', tabindex: '-1', 'data-screen': name })
  document.getElementById('main').replaceWith(place)
  const show = SCREENS[name] || showField
  for (const link of document.querySelectorAll('nav a')) {
    const here = link.getAttribute('href') === `#/${name || 'field'}`
    if (here) link.setAttribute('aria-current', 'page')
    else link.removeAttribute('aria-current')
  }
  const left = () => !place.isConnected
  const shown = await Promise.resolve().then(() => show({ ...shell, main: place }, ...rest)).catch((error) => { if (!left()) shell.say(error.message) })
  if (left()) { shown?.leave?.(); return }
  screen = shown
  if (desk) screen?.update?.(desk)
}

async function poll() {
  let wait = IDLE_MS
  asked += 1
  const ticket = asked
  try {
    const answer = await get('/api/desk')
    // Of two answers on their way the one that was asked for last counts, whichever comes last.
    if (ticket < answered) return
    answered = ticket
    desk = answer
    showLengthsIn(desk.units)
    gradeBy(desk.verdicts)
    screen?.update?.(desk)
    const { done, total, seconds_left: left } = desk.queue
    const unsettled = desk.walls.filter((wall) => wall.settled === false && wall.status === 'read')
    const reading = desk.walls.find((wall) => wall.status === 'reading')
    if (uploads.length) queue.textContent = `Taking in ${uploads.length} photo${uploads.length > 1 ? 's' : ''} …`
    else if (done < total) {
      queue.textContent = `Reading ${reading ? `${reading.name}, ${reading.stage}` : '…'} · ${done} of ${total} done` +
        (left ? ` · about ${timeLeft(left)} left` : '')
    } else if (unsettled.length) queue.textContent = `Reading ${unsettled[0].name} again, ${unsettled[0].stage || 'waiting'} …`
    else {
      const read = desk.walls.filter((wall) => wall.status === 'read' && !wall.cause)
      const checked = read.filter((wall) => wall.checked).length
      queue.textContent = total ? [`${read.length} wall${read.length === 1 ? '' : 's'} read`, total > read.length && `${total - read.length} not read`,
        checked && `${checked} checked by eye`].filter(Boolean).join(' · ') : ''
    }
    if (done < total || unsettled.length || uploads.length || desk.report.state === 'writing') wait = BUSY_MS
  } catch (error) {
    if (ticket < answered) return
    queue.textContent = error.message
  }
  clearTimeout(timer)
  timer = setTimeout(poll, wait)
}

const isPhoto = ({ file }) => /\.(jpe?g|png|tiff?|heic|heif)$/i.test(file.name)
const isSheet = ({ file }) => file.name.toLowerCase() === 'sheet.csv'
const isRaw = ({ file }) => /\.(arw|cr2|cr3|dng|nef|orf|raf|rw2)$/i.test(file.name)
const isLikeASheet = ({ file }) => /^sheet\.(csv\.csv|csv\.txt|tsv|txt|xlsx?|ods|numbers)$/i.test(file.name)
const isMarks = ({ path }) => /(^|\/)marks\/[^/]+\.json$/.test(path)
const stem = (name) => name.replace(/\.[^.]*$/, '')
const folderOf = (path) => path.slice(0, path.lastIndexOf('/') + 1)

/** What a person may think is taken in and is not: raw photos alone in their kind, and sheets in other forms. */
function notTaken(wanted, photos, sheets) {
  const stems = new Set(photos.map(({ path }) => stem(path).toLowerCase()))
  const raw = wanted.filter((found) => isRaw(found) && !stems.has(stem(found.path).toLowerCase()))
  const named = raw.slice(0, MOST_SAID).map(({ file }) => file.name).join(', ')
  const more = raw.length > MOST_SAID ? ` and ${raw.length - MOST_SAID} more` : ''
  return [
    raw.length && `${named}${more}: raw photos are not taken; save them as JPEG or TIFF.`,
    ...(sheets.length ? [] : wanted.filter(isLikeASheet).map(({ file }) => `${file.name} is not taken; save it as CSV, named sheet.csv.`)),
  ].filter(Boolean)
}

/** Take in photos, then the sheets and marks that lay beside them. `found` has each file with its path within what was given. */
async function addFiles(found) {
  // Pictures that an earlier run wrote are no photos of walls; they lie beside its table.
  const pictures = found.filter(({ file }) => file.name === 'walls.csv').map(({ path }) => `${folderOf(path)}pictures/`)
  const wanted = found.filter(({ path }) => !pictures.some((folder) => path.startsWith(folder)) && !path.split('/').some((part) => part.startsWith('.')))
  const photos = wanted.filter(isPhoto)
  const sheets = wanted.filter(isSheet)
  const said = []
  if (found.length && !photos.length && !sheets.length) said.push('None of these is a photo or a sheet.csv. JPEG, PNG, TIFF and HEIC are taken.')
  said.push(...notTaken(wanted, photos, sheets))
  const placed = new Map()
  uploads.push(...photos)
  for (const photo of photos) {
    shell.look()
    try {
      placed.set(photo, (await sendPhoto(photo.file)).photo)
    } catch (error) {
      said.push(error.message)
    }
    uploads = uploads.filter((other) => other !== photo)
  }
  for (const sheet of sheets) {
    const beside = [...placed].filter(([photo]) => photo.path.startsWith(folderOf(sheet.path)))
    try {
      const { says } = await sendSheet(sheet.file, Object.fromEntries(beside.map(([photo, name]) => [photo.file.name, name])))
      said.push('The sheet is taken in.', ...says.slice(0, MOST_SAID))
      if (says.length > MOST_SAID) said.push(`And ${says.length - MOST_SAID} more.`)
    } catch (error) {
      said.push(`The sheet is not taken in. ${error.message}`)
    }
  }
  await shell.look()
  for (const marks of wanted.filter(isMarks)) {
    try {
      said.push(await takeMarks(marks.file, placed))
    } catch (error) {
      said.push(`${marks.path} is not taken in. ${error.message}`)
    }
  }
  shell.say(said.filter(Boolean).join(' '))
  await shell.look()
}

/** Marks that came with their photo; a wall that somebody marked here keeps its own. Returns what is to be said. */
async function takeMarks(file, placed) {
  const name = stem(file.name)
  const cameAs = new Map([...placed].map(([photo, here]) => [here, stem(photo.file.name)]))
  const wall = desk.walls.find((one) => cameAs.has(one.photo) && (one.name === name || cameAs.get(one.photo) === name))
  if (!wall) return `No photo came with the marks of ${name}.`
  const { marks, revision } = await get(wallPath(wall.name))
  if (wall.marked || marks.checked) return `${wall.name} is marked here already; the marks that came with it are not taken.`
  await put(wallPath(wall.name, '/marks'), { marks: { ...marks, ...JSON.parse(await file.text()) }, revision })
  return ''
}

const withPaths = (files) => [...files].map((file) => ({ file, path: file.webkitRelativePath || file.name }))

async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean)
  if (!entries.some((entry) => entry.isDirectory)) return withPaths(transfer.files)
  const found = []
  const walk = async (entry) => {
    if (entry.isFile) found.push({ file: await new Promise((done, fail) => entry.file(done, fail)), path: entry.fullPath.slice(1) })
    else {
      const reader = entry.createReader()
      for (;;) {
        const some = await new Promise((done, fail) => reader.readEntries(done, fail))
        if (!some.length) break
        for (const one of some) await walk(one)
      }
    }
  }
  for (const entry of entries) await walk(entry)
  return found
}

let depth = 0
addEventListener('dragenter', (event) => { event.preventDefault(); depth += 1; drop.hidden = false })
addEventListener('dragover', (event) => event.preventDefault())
addEventListener('dragleave', () => { depth = Math.max(depth - 1, 0); drop.hidden = depth === 0 })
addEventListener('drop', async (event) => {
  event.preventDefault()
  depth = 0
  drop.hidden = true
  const found = await filesOf(event.dataTransfer)
  if (!found.length) return
  if (!location.hash.startsWith('#/field')) location.hash = '#/field'
  await addFiles(found)
})
document.getElementById('skip').addEventListener('click', (event) => { event.preventDefault(); document.getElementById('main').focus() })

// Until the desk has told the unit nothing is shown, and then once: a link may have been clicked meanwhile.
await poll()
addEventListener('hashchange', route)
await route()
