// Which screen is shown, what the desk is doing, and photos dropped anywhere.

import { get, Refused, sendPhoto } from './api.js'
import { showField } from './field.js'
import { showPair } from './pair.js'
import { showReport } from './report.js'
import { showSecond } from './second.js'
import { showSheet } from './sheet.js'
import { showWall } from './wall.js'

const SCREENS = { field: showField, wall: showWall, sheet: showSheet, pair: showPair, report: showReport, second: showSecond }
const BUSY_MS = 400
const IDLE_MS = 2500

const main = document.getElementById('main')
const queue = document.getElementById('queue')
const trouble = document.getElementById('trouble')
const drop = document.getElementById('drop')

let screen = null
let desk = null
let uploads = []
let timer = null

const shell = {
  say(text) {
    trouble.textContent = text
    trouble.hidden = !text
  },
  desk: () => desk,
  look: () => { clearTimeout(timer); return poll() },
  add: addPhotos,
  main,
}

async function route() {
  const [name, ...rest] = location.hash.replace(/^#\//, '').split('/').map(decodeURIComponent)
  screen?.leave?.()
  shell.say('')
  main.replaceChildren()
  main.className = ''
  const show = SCREENS[name] || showField
  for (const link of document.querySelectorAll('nav a')) {
    const here = link.getAttribute('href') === `#/${name || 'field'}`
    if (here) link.setAttribute('aria-current', 'page')
    else link.removeAttribute('aria-current')
  }
  const shown = await Promise.resolve(show(shell, ...rest)).catch((error) => { shell.say(error.message); return null })
  screen = shown
  if (desk) screen?.update?.(desk)
}

async function poll() {
  let wait = IDLE_MS
  try {
    desk = await get('/api/desk')
    screen?.update?.(desk)
    const { done, total, seconds_left: left } = desk.queue
    const unsettled = desk.walls.filter((wall) => wall.settled === false && wall.status === 'read')
    const reading = desk.walls.find((wall) => wall.status === 'reading')
    if (uploads.length) queue.textContent = `Taking in ${uploads.length} photo${uploads.length > 1 ? 's' : ''} …`
    else if (done < total) {
      queue.textContent = `Reading ${reading ? `${reading.name}, ${reading.stage}` : '…'} · ${done} of ${total} done` +
        (left ? ` · about ${left} s left` : '')
    } else if (unsettled.length) queue.textContent = `Reading ${unsettled[0].name} again, ${unsettled[0].stage || 'waiting'} …`
    else queue.textContent = total ? `${total} wall${total > 1 ? 's' : ''} read` : ''
    if (done < total || unsettled.length || uploads.length || desk.report.state === 'writing') wait = BUSY_MS
  } catch (error) {
    queue.textContent = error instanceof Refused ? error.message : 'The desk does not answer; it may have been closed.'
  }
  clearTimeout(timer)
  timer = setTimeout(poll, wait)
}

async function addPhotos(files) {
  const photos = [...files].filter((file) => /\.(jpe?g|png|tiff?|heic|heif)$/i.test(file.name))
  const others = [...files].length - photos.length
  const said = []
  if (others && !photos.length) said.push('None of these is a photo. JPEG, PNG, TIFF and HEIC are taken.')
  uploads.push(...photos)
  for (const file of photos) {
    shell.look()
    try {
      await sendPhoto(file)
    } catch (error) {
      said.push(error.message)
    }
    uploads = uploads.filter((other) => other !== file)
  }
  shell.say(said.join(' '))
  await shell.look()
}

async function filesOf(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean)
  if (!entries.some((entry) => entry.isDirectory)) return [...transfer.files]
  const found = []
  const walk = async (entry) => {
    if (entry.isFile) found.push(await new Promise((done, fail) => entry.file(done, fail)))
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
  const files = await filesOf(event.dataTransfer)
  if (!files.length) return
  if (!location.hash.startsWith('#/field')) location.hash = '#/field'
  await addPhotos(files)
})
addEventListener('hashchange', route)
document.getElementById('skip').addEventListener('click', (event) => { event.preventDefault(); main.focus() })

await poll()
await route()
