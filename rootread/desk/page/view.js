// The photo, large: an overview at once, tiles where it is looked at closely, zoom and pan by any hand.
//
// Places are photo pixels. `at` is the photo place at the canvas's top left corner, `scale` screen pixels a photo pixel.

import { picture } from './api.js'

const TILE = 512
/** Width of the depth rule left of the photo: its widest word is 0 cm. */
export const RULE_PX = 52
const MOST_TILES = 160
const MOST_SCALE = 12
const TAP_PX = 6

export class View {
  /** `paths` gives the overview's and a tile's address; `draw(context, view)` draws what lies over the photo. */
  constructor(canvas, [width, height], paths, draw) {
    Object.assign(this, { canvas, width, height, paths, drawOver: draw })
    this.at = [0, 0]
    this.scale = this.whole = 1
    this.tiles = new Map()
    this.pointers = new Map()
    this.brush = null // while painting: called with each place instead of panning
    this.onTap = () => {}
    this.onHover = () => {} // with null once the pointer is off the photo
    this.context = canvas.getContext('2d')
    this.gone = new AbortController()
    this.resized = new ResizeObserver(() => this.resize())
    this.resized.observe(canvas)
    picture(paths.overview, this.gone.signal).then(async ({ blob }) => {
      this.overview = await createImageBitmap(blob)
      this.redraw()
      canvas.dataset.opened = performance.now().toFixed(0)
    }, () => {})
    this.listen()
  }

  close() {
    this.gone.abort()
    this.resized.disconnect()
  }

  resize() {
    const ratio = devicePixelRatio || 1
    const { clientWidth, clientHeight } = this.canvas
    if (!clientWidth) return
    this.canvas.width = clientWidth * ratio
    this.canvas.height = clientHeight * ratio
    // A photo that was shown whole stays so; one looked at closely stays in sight.
    if (this.scale === this.whole) this.fit()
    else this.keepNear()
  }

  get size() {
    return [this.canvas.clientWidth, this.canvas.clientHeight]
  }

  get least() {
    const [width, height] = this.size
    return Math.min((width - RULE_PX) / this.width, height / this.height)
  }

  fit() {
    const [width, height] = this.size
    this.scale = this.whole = this.least
    this.at = [(this.width - (width + RULE_PX) / this.scale) / 2, (this.height - height / this.scale) / 2]
    this.redraw()
  }

  toScreen([x, y]) {
    return [(x + 0.5 - this.at[0]) * this.scale, (y + 0.5 - this.at[1]) * this.scale]
  }

  toPhoto([x, y]) {
    return [x / this.scale + this.at[0] - 0.5, y / this.scale + this.at[1] - 0.5]
  }

  get centre() {
    const [width, height] = this.size
    return this.toPhoto([width / 2, height / 2])
  }

  pan(dx, dy) {
    this.at = [this.at[0] - dx / this.scale, this.at[1] - dy / this.scale]
    this.keepNear()
  }

  zoom(factor, [x, y] = [this.size[0] / 2, this.size[1] / 2]) {
    const next = Math.min(Math.max(this.scale * factor, this.least * 0.9), MOST_SCALE)
    this.at = [this.at[0] + x / this.scale - x / next, this.at[1] + y / this.scale - y / next]
    this.scale = next
    this.keepNear()
  }

  show([x, y], scale = this.scale) {
    this.scale = Math.max(this.scale, scale)
    this.at = [x - this.size[0] / 2 / this.scale, y - this.size[1] / 2 / this.scale]
    this.keepNear()
  }

  /** The photo never leaves the canvas altogether. */
  keepNear() {
    const [width, height] = this.size.map((length) => length / this.scale)
    const held = (at, seen, whole) => Math.min(Math.max(at, -seen * 0.6), whole - seen * 0.4)
    this.at = [held(this.at[0], width, this.width), held(this.at[1], height, this.height)]
    this.redraw()
  }

  redraw() {
    if (this.due) return
    this.due = requestAnimationFrame(() => { this.due = null; this.paint() })
  }

  paint() {
    const { context, canvas, scale, at } = this
    const ratio = canvas.width / (canvas.clientWidth || 1)
    context.setTransform(1, 0, 0, 1, 0, 0)
    context.fillStyle = '#16120e'
    context.fillRect(0, 0, canvas.width, canvas.height)
    context.setTransform(scale * ratio, 0, 0, scale * ratio, -at[0] * scale * ratio, -at[1] * scale * ratio)
    context.imageSmoothingEnabled = scale * ratio < 4
    if (this.overview) context.drawImage(this.overview, 0, 0, this.width, this.height)
    if (this.overview && this.overview.width < this.width * scale * ratio) this.paintTiles(scale * ratio)
    context.setTransform(ratio, 0, 0, ratio, 0, 0)
    this.drawOver(context, this)
  }

  paintTiles(density) {
    const level = Math.max(Math.floor(Math.log2(1 / density)), 0)
    const span = TILE * 2 ** level
    const [width, height] = this.size
    const columns = [Math.max(Math.floor(this.at[0] / span), 0), Math.min(Math.floor((this.at[0] + width / this.scale) / span), Math.floor((this.width - 1) / span))]
    const rows = [Math.max(Math.floor(this.at[1] / span), 0), Math.min(Math.floor((this.at[1] + height / this.scale) / span), Math.floor((this.height - 1) / span))]
    for (let row = rows[0]; row <= rows[1]; row += 1) {
      for (let column = columns[0]; column <= columns[1]; column += 1) {
        const tile = this.tile(level, column, row)
        if (tile) this.context.drawImage(tile, column * span, row * span, tile.width * 2 ** level, tile.height * 2 ** level)
      }
    }
  }

  tile(level, column, row) {
    const key = `${level}/${column}/${row}`
    if (!this.tiles.has(key)) {
      this.tiles.set(key, null)
      picture(this.paths.tile(key), this.gone.signal).then(async ({ blob }) => {
        this.tiles.set(key, await createImageBitmap(blob))
        this.redraw()
      }, () => this.tiles.delete(key))
      for (const old of this.tiles.keys()) {
        if (this.tiles.size <= MOST_TILES) break
        this.tiles.get(old)?.close()
        this.tiles.delete(old)
      }
    }
    return this.tiles.get(key)
  }

  listen() {
    const { canvas, pointers } = this
    const place = (event) => {
      const box = canvas.getBoundingClientRect()
      return [event.clientX - box.left, event.clientY - box.top]
    }
    canvas.addEventListener('pointerdown', (event) => {
      canvas.setPointerCapture(event.pointerId)
      pointers.set(event.pointerId, { start: place(event), now: place(event), moved: false })
      if (pointers.size === 1 && this.brush) this.brush('start', this.toPhoto(place(event)))
      if (pointers.size === 2 && this.brush) this.brush('drop')
    })
    canvas.addEventListener('pointermove', (event) => {
      const held = pointers.get(event.pointerId)
      const now = place(event)
      if (!held) { this.onHover(this.toPhoto(now)); return }
      const before = held.now
      held.now = now
      if (Math.hypot(now[0] - held.start[0], now[1] - held.start[1]) > TAP_PX) held.moved = true
      if (pointers.size === 1) {
        if (this.brush) this.brush('move', this.toPhoto(now))
        else if (held.moved) this.pan(now[0] - before[0], now[1] - before[1])
        return
      }
      const [one, other] = [...pointers.values()].map((pointer) => pointer.now)
      const rest = pointers.get([...pointers.keys()].find((id) => id !== event.pointerId)).now
      const spread = Math.hypot(one[0] - other[0], one[1] - other[1])
      const earlier = Math.hypot(before[0] - rest[0], before[1] - rest[1])
      for (const pointer of pointers.values()) pointer.moved = true
      this.pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2)
      if (earlier > 0) this.zoom(spread / earlier, [(one[0] + other[0]) / 2, (one[1] + other[1]) / 2])
    })
    const up = (event) => {
      const held = pointers.get(event.pointerId)
      pointers.delete(event.pointerId)
      if (!held) return
      if (this.brush && pointers.size === 0) this.brush('end', this.toPhoto(held.now))
      else if (!held.moved && event.type === 'pointerup' && pointers.size === 0) this.onTap(this.toPhoto(held.now))
    }
    canvas.addEventListener('pointerleave', () => this.onHover(null))
    canvas.addEventListener('pointerup', up)
    canvas.addEventListener('pointercancel', up)
    canvas.addEventListener('wheel', (event) => {
      event.preventDefault()
      const step = event.deltaMode === 1 ? event.deltaY * 20 : event.deltaY
      this.zoom(Math.exp(-step / 400), place(event))
    }, { passive: false })
  }
}
