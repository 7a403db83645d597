// Two walls side by side, laid flat at one scale and hung from one ground line; they move together.

import { picture, wallPath } from './api.js'
import { el, gradeBar, verdictWords, whole } from './parts.js'
import { perShown, shown, unitShown } from './units.js'

const MOST_ZOOM = 8
const RULE = 50 // width of the depth rule

export function showPair(shell, left, right) {
  const chosen = [left, right]
  const view = { x: null, z: -1.5, pxPerIn: null, moved: false }
  const sides = [0, 1].map((index) => {
    const select = el('select', { 'aria-label': index ? 'Right wall' : 'Left wall', onchange: () => { chosen[index] = select.value; go() } })
    const canvas = el('canvas', { tabindex: '0', role: 'img', 'aria-label': 'No wall chosen' })
    const words = el('div', { class: 'words' })
    return { select, canvas, words, version: null, image: null, place: null, box: el('section', { class: 'side' }, select, canvas, words) }
  })
  const none = el('p', { hidden: true }, 'No wall has been read yet.')
  const both = el('div', { class: 'sides' }, sides.map((side) => side.box))
  shell.main.className = 'pair'
  shell.main.append(el('h1', {}, 'Side by side'),
    el('p', { class: 'hintline' }, 'One scale, one ground line. Drag or use arrows to move, wheel or + and − to zoom, 0 for the whole.'),
    none, both)
  let names = ''

  const go = () => { history.replaceState(null, '', `#/pair/${chosen.map((name) => encodeURIComponent(name || '')).join('/')}`); load() }

  async function load(desk = shell.desk()) {
    await Promise.all(sides.map(async (side, index) => {
      const wall = desk?.walls.find((one) => one.name === chosen[index])
      if (!wall || wall.status !== 'read' || side.version === `${wall.name}:${wall.version}`) return
      const version = `${wall.name}:${wall.version}`
      side.version = version
      try {
        const { blob, place } = await picture(wallPath(wall.name, '/large.flat.jpg'))
        const image = await createImageBitmap(blob)
        // Another wall was chosen, or this one read again, while its picture was on its way.
        if (side.version !== version) return
        Object.assign(side, { image, place })
      } catch {
        if (side.version === version) side.version = null
        return
      }
      side.canvas.setAttribute('aria-label', `${wall.name} laid flat: ${wall.verdict}, grade ${whole(wall.grade[0])}${wall.cause ? ', as before the last change' : ''}`)
      const [value, low, high] = wall.grade
      side.words.replaceChildren(el('p', {}, verdictWords(wall), `, likely ${whole(low)} to ${whole(high)}`,
        el('br'), [wall.pit, wall.treatment].filter(Boolean).join(' · ')), gradeBar(wall.grade))
    }))
    if (!view.moved) fit()
    paint()
  }

  function fit() {
    const filled = sides.filter((side) => side.place && side.canvas.clientWidth > RULE && side.canvas.clientHeight)
    if (!filled.length) return
    view.pxPerIn = Math.min(...filled.map(({ canvas, place }) => Math.min((canvas.clientWidth - RULE) / place.width_in, canvas.clientHeight / place.height_in)))
    view.least = view.pxPerIn
    Object.assign(view, { x: null, z: -1.5, moved: false })
  }

  function paint() {
    for (const { canvas, image, place } of sides) {
      const ratio = devicePixelRatio || 1
      canvas.width = canvas.clientWidth * ratio
      canvas.height = canvas.clientHeight * ratio
      const context = canvas.getContext('2d')
      context.fillStyle = '#faf8f3'
      context.fillRect(0, 0, canvas.width, canvas.height)
      if (!image || !view.pxPerIn) continue
      const scale = view.pxPerIn * ratio
      // Each wall's own middle, since x counts from where its scale object hung.
      const middle = place.x0_in + place.width_in / 2 + (view.x ?? 0)
      context.setTransform(scale, 0, 0, scale, (canvas.width + RULE * ratio) / 2 - middle * scale, -view.z * scale)
      context.drawImage(image, place.x0_in, place.z0_in, place.width_in, place.height_in)
      context.setTransform(ratio, 0, 0, ratio, 0, 0)
      rule(context, canvas, view)
    }
  }

  function rule(context, canvas) {
    const [px, top] = [perShown(view.pxPerIn), shown(view.z)]
    const step = [1, 2, 5, 10].find((lengths) => lengths * px >= 30) || 20
    context.fillStyle = 'rgba(250,248,243,.94)'
    context.fillRect(0, 0, RULE, canvas.clientHeight)
    context.fillStyle = '#26221e'
    context.font = '600 14px system-ui, sans-serif'
    context.textAlign = 'right'
    context.textBaseline = 'middle'
    for (let depth = 0; (depth - top) * px < canvas.clientHeight; depth += step) {
      const y = (depth - top) * px
      context.fillRect(RULE - 8, y - 1, 8, 2)
      context.fillText(depth ? String(depth) : `0 ${unitShown()}`, RULE - 11, y)
    }
  }

  const move = (dx, dz) => { view.moved = true; view.x = (view.x ?? 0) + dx; view.z = Math.max(view.z + dz, -3); paint() }
  const zoom = (factor) => { view.moved = true; view.pxPerIn = Math.min(Math.max(view.pxPerIn * factor, view.least), view.least * MOST_ZOOM); paint() }
  for (const { canvas } of sides) {
    let held = null
    canvas.addEventListener('pointerdown', (event) => { canvas.setPointerCapture(event.pointerId); held = [event.clientX, event.clientY] })
    canvas.addEventListener('pointermove', (event) => {
      if (!held || !view.pxPerIn) return
      move((held[0] - event.clientX) / view.pxPerIn, (held[1] - event.clientY) / view.pxPerIn)
      held = [event.clientX, event.clientY]
    })
    canvas.addEventListener('pointerup', () => { held = null })
    canvas.addEventListener('wheel', (event) => { event.preventDefault(); if (view.pxPerIn) zoom(Math.exp(-event.deltaY / 400)) }, { passive: false })
    canvas.addEventListener('keydown', (event) => {
      const by = 60 / (view.pxPerIn || 60)
      const act = { ArrowLeft: () => move(-by, 0), ArrowRight: () => move(by, 0), ArrowUp: () => move(0, -by), ArrowDown: () => move(0, by),
        '+': () => zoom(1.25), '=': () => zoom(1.25), '-': () => zoom(0.8), 0: () => { fit(); paint() } }[event.key]
      if (act) { event.preventDefault(); act() }
    })
  }
  const resized = new ResizeObserver(() => { if (!view.moved) fit(); paint() })
  sides.forEach((side) => resized.observe(side.canvas))

  return {
    update(desk) {
      const read = desk.walls.filter((wall) => wall.status === 'read').sort((a, b) => a.name.localeCompare(b.name))
      const now = read.map((wall) => wall.name).join('\n')
      none.hidden = read.length > 0
      both.hidden = !read.length
      if (now !== names) {
        names = now
        // At first the two treatments of one pit, which is what is mostly asked.
        if (!chosen[0] && read.length) chosen[0] = read[0].name
        if (!chosen[1] && read.length > 1) {
          const mate = read.find((wall) => wall.name !== chosen[0] && wall.pit && wall.pit === read.find((one) => one.name === chosen[0])?.pit)
          chosen[1] = (mate || read.find((wall) => wall.name !== chosen[0])).name
        }
        sides.forEach((side, index) => {
          side.select.replaceChildren(...read.map((wall) => el('option', { value: wall.name, selected: wall.name === chosen[index] },
            [wall.name, wall.treatment].filter(Boolean).join(' · '))))
        })
      }
      load(desk)
    },
    leave: () => resized.disconnect(),
  }
}
