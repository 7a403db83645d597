// One wall: its photo large, its reading beside it, and the tools that mend it.

import { get, post, wallPath } from './api.js'
import { History } from './history.js'
import { drawOverlay } from './overlay.js'
import { el } from './parts.js'
import { readingPanel } from './reading.js'
import { rootAt, strike, TOOLS } from './tools.js'
import { unitShown } from './units.js'
import { View } from './view.js'

const REACH_PX = 14 // on the screen: half a fingertip
const PAN_PX = 80
const AGAIN_MS = 400
const IDLE = 'Drag to move, wheel or two fingers to zoom. Take a tool to mend what is read wrong.'

export async function showWall(shell, name) {
  const first = await get(wallPath(name))
  const state = {
    // `read` are the marks that the reading is of; `marks`, those that the next change is made on.
    reading: first.reading, read: first.marks, get marks() { return history.marks }, version: first.version, before: null,
    tool: null, draft: [], snapped: null, snappedOf: null, width: null, painting: null, brush: 24, hover: null, hidden: false, crosshair: false,
  }
  shell.main.className = 'wall'

  const canvas = el('canvas', { tabindex: '0', role: 'application', 'aria-roledescription': 'photo of the wall',
    'aria-label': `Photo of ${name}. Arrows move, plus and minus zoom, 0 shows the whole. With a tool: space puts a point at the cross, Enter is done, Escape leaves.` })
  const hint = el('p', { class: 'hint', role: 'status' }, IDLE)
  const saved = el('span', { class: 'saved', role: 'status' })
  const undo = el('button', { type: 'button', class: 'button', onclick: () => history.undo(), title: 'Ctrl+Z' }, 'Undo')
  const redo = el('button', { type: 'button', class: 'button', onclick: () => history.redo(), title: 'Ctrl+Shift+Z' }, 'Redo')
  const done = el('button', { type: 'button', class: 'button strong', hidden: true, onclick: () => finish() }, 'Done')
  const leaveTool = el('button', { type: 'button', class: 'button', hidden: true, onclick: () => choose(null) }, 'Leave it')
  const hide = el('button', { type: 'button', class: 'button', 'aria-pressed': 'false', title: 'Roots hidden (H)', onclick: () => toggleHidden() }, 'Bare photo')
  const asked = el('form', { class: 'asked', hidden: true, onsubmit: (event) => { event.preventDefault(); finish() } })
  const brush = el('label', { class: 'brush', hidden: true }, 'Brush ',
    el('input', { type: 'range', min: 6, max: 120, value: state.brush, oninput: (event) => { state.brush = Number(event.target.value) } }))
  const panel = readingPanel({
    strike: (root) => change(strike(state, root)),
    show: (place) => view?.show(place, 1),
    hover: (id) => { state.hover = id; view?.redraw() },
    change: (made) => change(made(state.marks)),
  })
  const buttons = new Map(TOOLS.map((tool) => [tool.id, el('button', { type: 'button', class: 'tool', 'aria-pressed': 'false',
    title: tool.hint, onclick: () => take(tool) }, tool.word, el('kbd', { 'aria-hidden': 'true' }, tool.key.toUpperCase()))]))
  const group = (title) => el('div', { role: 'group', 'aria-label': `Mend ${title.toLowerCase()}` }, el('span', {}, title),
    TOOLS.filter((tool) => tool.group === title).map((tool) => buttons.get(tool.id)))
  // Beside the photo, not on it: its corners and its lower edge are marked too.
  const looking = el('div', { role: 'group', 'aria-label': 'View' },
    el('button', { type: 'button', class: 'button', 'aria-label': 'Zoom in', title: '+', onclick: () => view?.zoom(1.5) }, '+'),
    el('button', { type: 'button', class: 'button', 'aria-label': 'Zoom out', title: '−', onclick: () => view?.zoom(1 / 1.5) }, '−'),
    el('button', { type: 'button', class: 'button', title: '0', onclick: () => view?.fit() }, 'Whole'), hide)

  shell.main.append(
    el('h1', { class: 'unseen' }, `Wall ${name}`),
    el('div', { class: 'photo' }, canvas),
    el('div', { class: 'aside' }, el('div', { role: 'group', 'aria-label': 'Steps' }, undo, redo), looking),
    el('div', { class: 'mend' }, group('Roots'), group('Wall'),
      el('div', { class: 'telling' }, hint, asked, brush, done, leaveTool, saved)),
    panel.element)

  const history = new History(name, first.photo, first.marks, first.revision, taken, (words, bad) => {
    saved.textContent = words
    saved.classList.toggle('bad', bad)
    steps()
    view?.redraw()
  })
  let view = null
  let closed = false
  let snapping = 0
  let timer = null

  function open(size) {
    view = new View(canvas, size, {
      overview: wallPath(name, '/overview.jpg'),
      tile: (key) => wallPath(name, `/tiles/${key}.jpg`),
    }, (context) => drawOverlay(context, view, state))
    view.onTap = click
    view.onHover = (place) => {
      const id = place && state.reading && !state.hidden ? rootAt(state.reading.roots, place, reach())?.root.id ?? null : null
      if (id !== state.hover) { state.hover = id; view.redraw() }
    }
  }

  const reach = () => REACH_PX / view.scale

  function steps() {
    undo.disabled = !history.past.length
    redo.disabled = !history.future.length
  }

  /** The desk's answer to a change, or null when it was turned away. */
  function taken(answer) {
    if (!answer) { refetch(); return }
    apply(answer)
  }

  function apply(answer) {
    if (closed) return
    if (state.reading && answer.reading && state.reading.grade.value !== answer.reading.grade.value) {
      state.before = state.reading.grade.value
    }
    Object.assign(state, { reading: answer.reading, read: answer.marks, version: answer.version })
    if (!view && answer.size_px) open(answer.size_px)
    panel.update(answer, state)
    panel.stage(answer)
    steps()
    view?.redraw()
    clearTimeout(timer)
    if (answer.status === 'waiting' || answer.status === 'reading' || answer.settled === false) timer = setTimeout(refetch, AGAIN_MS)
  }

  async function refetch() {
    let again = AGAIN_MS
    try {
      const answer = await get(wallPath(name))
      // What was asked before the last change may come after it.
      if (answer.version < state.version) return
      // The sheet gave the name to another wall: what is shown here is not of that one.
      if (answer.photo !== first.photo && !closed) { location.reload(); return }
      if (!history.due) {
        if (answer.revision !== history.revision) Object.assign(history, { marks: answer.marks, revision: answer.revision })
        apply(answer)
        return
      }
    } catch { again *= 4 }
    if (closed) return
    clearTimeout(timer)
    timer = setTimeout(refetch, again)
  }

  /** By its button: what comes next is done on the photo, by keys too. */
  function take(tool) {
    choose(state.tool === tool ? null : tool)
    if (state.tool) canvas.focus({ preventScroll: true })
  }

  function choose(tool) {
    Object.assign(state, { tool, draft: [], snapped: null, width: null, painting: null })
    for (const [id, button] of buttons) button.setAttribute('aria-pressed', String(tool?.id === id))
    hint.textContent = tool ? tool.hint : IDLE
    asked.hidden = true
    brush.hidden = !tool?.paints
    leaveTool.hidden = !tool
    if (view) view.brush = tool?.paints ? paint : null
    canvas.classList.toggle('working', Boolean(tool))
    ready()
    view?.redraw()
  }

  function ready() {
    const { tool, draft } = state
    done.hidden = !tool || tool.most === tool.least || draft.length < tool.least
    if (!tool?.asks || draft.length < tool.least) { asked.hidden = true; return }
    const wanted = tool.asks(draft)
    hint.textContent = tool.asking(draft)
    if (asked.dataset.for !== wanted.join() || asked.hidden) {
      asked.dataset.for = wanted.join()
      asked.replaceChildren(...wanted.map((word) => el('label', {}, `${word} `, el('input', { type: 'text', inputmode: 'text', size: 6, placeholder: unitShown() === 'cm' ? '90 cm' : '36 in', autocomplete: 'off' }))))
    }
    asked.hidden = false
  }

  function click(place) {
    const { tool } = state
    if (!tool || !view) return
    if (tool.reads && !state.reading) { hint.textContent = 'Nothing is read on this photo yet.'; return }
    if (!inside(place)) { hint.textContent = 'That is outside the photo.'; return }
    state.draft = [...state.draft, place]
    if (tool.snaps && state.draft.length > 1) snapDraft()
    if (tool.most && state.draft.length >= tool.most && !tool.asks) { finish(); return }
    if (tool.most && state.draft.length > tool.most) state.draft = state.draft.slice(0, tool.most)
    ready()
    view.redraw()
  }

  const inside = ([x, y]) => x >= -0.5 && y >= -0.5 && x <= view.width - 0.5 && y <= view.height - 0.5

  async function snapDraft() {
    const ticket = ++snapping
    const points_px = state.draft
    try {
      const path = await post(wallPath(name, '/snap'), { points_px })
      if (ticket !== snapping || state.draft !== points_px) return
      Object.assign(state, { snapped: path.points_px, snappedOf: points_px, width: path.width_px })
      view.redraw()
    } catch (error) { hint.textContent = error.message }
  }

  async function finish() {
    const { tool, draft } = state
    if (!tool || draft.length < tool.least) return
    // The line to the last click may be on its way still.
    if (tool.snaps && state.snappedOf !== draft) { state.snapped = null; await snapDraft() }
    if (state.draft !== draft) return
    const answers = [...asked.querySelectorAll('input')].map((input) => input.value)
    if (tool.asks && asked.hidden) return
    if (tool.asks && !answers.some(Boolean)) { asked.querySelector('input').focus(); return }
    const next = tool.done(draft, { ...state, reach: reach(), answers, columns: view.width })
    if (typeof next === 'string') {
      hint.textContent = next
      if (!tool.asks) Object.assign(state, { draft: [], snapped: null })
      view.redraw()
      return
    }
    // A tool for roots stays in the hand; one for the wall is used once.
    choose(tool.group === 'Roots' ? tool : null)
    change(next)
  }

  function change(marks) {
    history.change(marks)
    view?.redraw()
  }

  function paint(what, place) {
    if (what === 'drop') { state.painting = null; view.redraw(); return }
    if (what === 'start') state.painting = { says: state.tool.paints, points_px: [place], width_px: state.brush / view.scale }
    if (!state.painting) return
    const { points_px: points } = state.painting
    const last = points.at(-1)
    if (what === 'move' && Math.hypot(place[0] - last[0], place[1] - last[1]) > 4 / view.scale) points.push(place)
    if (what === 'end') {
      state.draft = points
      const next = state.tool.done(points, { ...state, brush: state.painting.width_px })
      choose(state.tool)
      change(next)
      return
    }
    view.redraw()
  }

  function toggleHidden() {
    state.hidden = !state.hidden
    hide.setAttribute('aria-pressed', String(state.hidden))
    view?.redraw()
  }

  const MOVES = { ArrowLeft: [PAN_PX, 0], ArrowRight: [-PAN_PX, 0], ArrowUp: [0, PAN_PX], ArrowDown: [0, -PAN_PX] }

  function onCanvasKey(event) {
    if (!view || event.ctrlKey || event.metaKey || event.altKey) return
    const key = event.key
    const fine = event.shiftKey ? 0.1 : 1
    if (MOVES[key]) view.pan(MOVES[key][0] * fine, MOVES[key][1] * fine)
    else if (key === '+' || key === '=') view.zoom(1.25)
    else if (key === '-') view.zoom(0.8)
    else if (key === '0') view.fit()
    else if (key === ' ') {
      if (state.tool?.paints) { state.painting = null; state.draft = [...state.draft, view.centre]; ready() } else click(view.centre)
    } else if (key === 'Enter') {
      if (state.tool?.paints && state.draft.length) {
        const next = state.tool.done(state.draft, { ...state, brush: state.brush / view.scale })
        choose(state.tool)
        change(next)
      } else finish()
    } else if (key === 'Backspace') { state.draft = state.draft.slice(0, -1); state.snapped = null; if (state.draft.length > 1 && state.tool?.snaps) snapDraft(); ready() } else if (key === 'Escape') choose(null)
    else if (key.toLowerCase() === 'h') toggleHidden()
    else {
      const tool = TOOLS.find((one) => one.key === key.toLowerCase())
      if (!tool) return
      choose(state.tool === tool ? null : tool)
    }
    event.preventDefault()
    view.redraw()
  }

  function onKey(event) {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches('input')) return
    const key = event.key.toLowerCase()
    if (key === 'z' && !event.shiftKey) history.undo()
    else if (key === 'y' || (key === 'z' && event.shiftKey)) history.redo()
    else return
    event.preventDefault()
  }

  canvas.addEventListener('keydown', onCanvasKey)
  canvas.addEventListener('focus', () => { state.crosshair = canvas.matches(':focus-visible'); view?.redraw() })
  canvas.addEventListener('blur', () => { state.crosshair = false; view?.redraw() })
  addEventListener('keydown', onKey)
  history.resume()
  apply(first)

  return {
    update(desk) {
      const now = desk.walls.find((wall) => wall.name === name)
      // What was asked before the last change may come after it.
      if (!now || now.version < state.version || history.due) return
      panel.goOn(desk.walls.find((wall) => wall.name !== name && wall.status === 'read' && !wall.checked))
      // That figures are first ones stays said until the whole ones are here.
      if (now.version !== state.version) refetch()
      else panel.stage(now)
    },
    leave() {
      closed = true
      clearTimeout(timer)
      history.close()
      removeEventListener('keydown', onKey)
      view?.close()
    },
  }
}
