// What lies over the photo: roots by descent, surface, layers, the depth rule, and what is being marked.

import { givenLength, layerDepth, shown, unitShown } from './units.js'
import { RULE_PX } from './view.js'

// Yellow is level, blue is steep; lightness falls all the way, as in the report.
export const RAMP = ['#ffef5c', '#d9e95d', '#b2e25e', '#84d97a', '#57cf95', '#3fc1a6', '#37b1bb', '#2fa3cf', '#419cd9', '#5393e4', '#5f8fed', '#6a8bf5']
const DARK = 'rgba(22,18,14,.9)'
const LIGHT = '#ffffff'
const STOUT_IN = 0.16
const BEAD_APART_PX = 9

export function drawOverlay(context, view, state) {
  const { reading, hidden, hover, tool } = state
  if (reading && !hidden) {
    drawSurface(context, view, reading)
    for (const root of reading.roots) drawRoot(context, view, root, root.id === hover)
    for (const layer of reading.layers) drawLayer(context, view, layer)
    drawScale(context, view, reading.scale)
  }
  if (reading) drawRule(context, view, reading.rule)
  if (!hidden) drawMarks(context, view, state.marks)
  if (tool) drawDraft(context, view, state)
  if (state.crosshair) drawCrosshair(context, view)
}

function path(context, view, points) {
  context.beginPath()
  points.forEach((point, k) => {
    const [x, y] = view.toScreen(point)
    if (k) context.lineTo(x, y)
    else context.moveTo(x, y)
  })
}

function cased(context, width, colour, casing = 3) {
  context.lineCap = context.lineJoin = 'round'
  edged(context, width, colour, casing)
}

function edged(context, width, colour, casing = 3) {
  context.strokeStyle = DARK
  context.lineWidth = width + casing
  context.stroke()
  context.strokeStyle = colour
  context.lineWidth = width
  context.stroke()
}

/** Two readings: slim white where both have a line, and each one's own lines broad in a colour and a dash of its own; one alone is white. */
export function drawPair(context, view, reading, second) {
  context.lineCap = 'butt'
  // As wide as a stout root, so that roots side by side are told apart where the photo is small on the screen.
  const broad = Math.min(Math.max(reading.scale.px_per_in * view.scale * STOUT_IN, 3), 8)
  const ours = second?.ours_alone || reading.roots.map((root) => root.points_px.map(() => false))
  const layers = [[reading.roots, ours, false, LIGHT, broad / 2, []], [reading.roots, ours, true, '#ffb000', broad, []]]
  if (second) layers.push([second.roots, second.theirs_alone, true, '#5fa8ff', broad, [7, 4]])
  for (const [roots, alone, wanted, colour, width, dash] of layers) {
    for (const [ink, wide, broken] of [[DARK, width + 2, []], [colour, width, dash]]) {
      context.strokeStyle = ink
      context.lineWidth = wide
      context.setLineDash(broken)
      roots.forEach((root, index) => {
        if (!onScreen(view, root.points_px)) return
        for (const piece of stretches(root.points_px, alone[index], wanted)) { path(context, view, piece); context.stroke() }
      })
    }
  }
  context.setLineDash([])
  drawRule(context, view, reading.rule)
}

/** The pieces of a line whose points are flagged as wanted, each up to the next point so that no gap shows. */
function stretches(points, flags, wanted) {
  const pieces = []
  let start = null
  flags.forEach((flag, k) => {
    if (flag === wanted && start === null) start = Math.max(k - (wanted ? 1 : 0), 0)
    if (start !== null && (flag !== wanted || k === points.length - 1)) { pieces.push(points.slice(start, k + 1)); start = null }
  })
  return pieces.filter((piece) => piece.length > 1)
}

function drawRoot(context, view, root, chosen = false) {
  const points = root.points_px
  if (!onScreen(view, points)) return
  const width = Math.min(Math.max(root.width_px * view.scale * 0.45, 2), 6)
  path(context, view, points)
  context.lineCap = context.lineJoin = 'round'
  context.setLineDash([])
  context.strokeStyle = chosen ? LIGHT : DARK
  context.lineWidth = width + (chosen ? 7 : 3)
  context.stroke()
  if (chosen) { context.strokeStyle = DARK; context.lineWidth = width + 3; context.stroke() }
  const unsure = root.confidence !== null && root.confidence < 0.5 && !root.drawn
  context.lineWidth = width
  context.setLineDash(unsure ? [width * 1.6, width * 2] : [])
  // Runs of one colour in one stroke.
  let start = 0
  for (let k = 1; k <= points.length; k += 1) {
    const colour = RAMP[root.steps[start]]
    if (k < points.length && root.steps[k] === root.steps[start]) continue
    path(context, view, points.slice(start, Math.min(k + 1, points.length)))
    context.strokeStyle = colour
    context.stroke()
    start = k
  }
  context.setLineDash([])
  if (root.flat.length) {
    let last = [-BEAD_APART_PX, 0]
    for (const k of root.flat) {
      const [x, y] = view.toScreen(points[k])
      if (Math.hypot(x - last[0], y - last[1]) < BEAD_APART_PX) continue
      last = [x, y]
      context.fillStyle = LIGHT
      context.fillRect(x - 2, y - 2, 4, 4)
    }
  }
}

function onScreen(view, points) {
  const [width, height] = view.size
  let [left, right, top, bottom] = [Infinity, -Infinity, Infinity, -Infinity]
  for (const point of points) {
    const [x, y] = view.toScreen(point)
    left = Math.min(left, x); right = Math.max(right, x); top = Math.min(top, y); bottom = Math.max(bottom, y)
  }
  return right > -9 && left < width + 9 && bottom > -9 && top < height + 9
}

function label(context, text, [x, y], align = 'left') {
  context.font = '600 14px system-ui, sans-serif'
  context.textBaseline = 'middle'
  context.textAlign = align
  const width = context.measureText(text).width + 10
  const left = align === 'right' ? x - width : align === 'center' ? x - width / 2 : x
  context.fillStyle = 'rgba(22,18,14,.86)'
  context.fillRect(left, y - 11, width, 22)
  context.fillStyle = LIGHT
  context.textAlign = 'left'
  context.fillText(text, left + 5, y + 1)
}

function drawSurface(context, view, reading) {
  path(context, view, reading.surface_px)
  context.setLineDash([])
  cased(context, 2, LIGHT)
  if (reading.scale.surface === 'assumed') label(context, 'no surface seen', view.toScreen(reading.surface_px[0]))
}

function drawLayer(context, view, layer) {
  path(context, view, layer.line_px)
  context.lineCap = 'butt'
  context.setLineDash([14, 8])
  edged(context, 3, LIGHT)
  context.setLineDash([])
  const named = layer.recorded && layer.recorded !== 'unrecorded' ? ` · ${layer.recorded}` : ''
  const [x, y] = view.toScreen(layer.line_px[layer.line_px.length - 1])
  label(context, `layer ${layerDepth(layer)}${named}`, [Math.min(x, view.size[0] - 8), y - 16], 'right')
}

/** A layer that a person struck out: what is left of its line, crossed through. */
function drawStruckLayer(context, view, struck) {
  path(context, view, struck)
  context.setLineDash([2, 7])
  cased(context, 2, LIGHT, 2)
  context.setLineDash([])
  const ends = struck.map((point) => view.toScreen(point))
  const [first, last] = [ends[0], ends[ends.length - 1]]
  context.beginPath()
  for (let x = first[0] + 20; x < last[0]; x += 60) {
    const y = view.toScreen([0, rowAt(struck, view.toPhoto([x, 0])[0])])[1]
    context.moveTo(x - 5, y - 7); context.lineTo(x + 5, y + 7)
    context.moveTo(x + 5, y - 7); context.lineTo(x - 5, y + 7)
  }
  cased(context, 2, LIGHT, 2)
  label(context, 'no layer', [Math.min(last[0], view.size[0] - 8), last[1] - 18], 'right')
}

function drawScale(context, view, scale) {
  for (const outline of scale.outlines_px) {
    path(context, view, [...outline, outline[0]])
    context.setLineDash([4, 4])
    cased(context, 1.5, LIGHT, 1.5)
    context.setLineDash([])
  }
}

/** The depth rule down the left side, following the wall's own level lines. */
function drawRule(context, view, rule) {
  const height = view.size[1]
  const edge = view.toPhoto([RULE_PX, 0])[0]
  context.fillStyle = 'rgba(250,248,243,.94)'
  context.fillRect(0, 0, RULE_PX, height)
  context.fillStyle = '#26221e'
  const rows = rule.map(({ depth_in, line_px }) => [Math.round(shown(depth_in)), view.toScreen([0, rowAt(line_px, edge)])[1]])
  const gap = rows.length > 1 ? Math.abs(rows[rows.length - 1][1] - rows[0][1]) / (rows.length - 1) : 30
  const step = [1, 2, 5, 10, 20].find((lengths) => lengths * gap >= 26) || 50
  context.font = '600 14px system-ui, sans-serif'
  context.textBaseline = 'middle'
  context.textAlign = 'right'
  for (const [depth, y] of rows) {
    if (y < -10 || y > height + 10) continue
    const named = depth % step === 0
    if (!named && gap < 5) continue
    context.fillRect(RULE_PX - (named ? 10 : 5), y - 1, named ? 10 : 5, named ? 2 : 1)
    if (named) context.fillText(depth === 0 ? `0 ${unitShown()}` : String(depth), RULE_PX - 13, y + 1)
  }
  context.fillRect(RULE_PX - 1, 0, 1, height)
}

export function rowAt(line, x) {
  const points = [...line].sort((a, b) => a[0] - b[0])
  let k = points.findIndex((point) => point[0] >= x)
  if (k === -1) k = points.length - 1
  k = Math.max(k, 1)
  const [[x0, y0], [x1, y1]] = [points[k - 1], points[k]]
  return x1 === x0 ? y0 : y0 + (y1 - y0) * (x - x0) / (x1 - x0)
}

function drawMarks(context, view, marks) {
  const line = (points, dash) => { path(context, view, points); context.setLineDash(dash); cased(context, 2, LIGHT); context.setLineDash([]) }
  for (const struck of marks.layers_struck_px) drawStruckLayer(context, view, struck)
  if (marks.outline_px.length) line([...marks.outline_px, marks.outline_px[0]], [2, 6])
  if (marks.plumb_px.length) { line(marks.plumb_px, [10, 4, 2, 4]); label(context, 'plumb', view.toScreen(marks.plumb_px[1])) }
  if (marks.loosened_floor_px.length) { line(marks.loosened_floor_px, [6, 4]); label(context, 'loosened floor', view.toScreen(marks.loosened_floor_px[0])) }
  if (marks.scale_points.length) {
    const points = marks.scale_points.map((mark) => mark.px)
    line(points.length > 2 ? [...points, points[0]] : points, [])
    for (const point of points) dot(context, view, point)
    if (marks.distance_in) label(context, givenLength(marks.distance_in), view.toScreen(points[1]))
  }
  for (const stroke of marks.strokes) drawStroke(context, view, stroke)
  for (const place of marks.splits_px) dot(context, view, place, true)
}

function drawStroke(context, view, stroke) {
  path(context, view, stroke.points_px.length > 1 ? stroke.points_px : [stroke.points_px[0], stroke.points_px[0]])
  context.lineCap = context.lineJoin = 'round'
  context.lineWidth = Math.max(stroke.width_px * view.scale, 2)
  context.strokeStyle = stroke.says === 'root' ? 'rgba(255,255,255,.4)' : 'rgba(22,18,14,.5)'
  context.stroke()
}

function dot(context, view, place, hollow = false) {
  const [x, y] = view.toScreen(place)
  context.beginPath()
  context.arc(x, y, 6, 0, 7)
  edged(context, 2, LIGHT, 2)
  if (!hollow) { context.fillStyle = DARK; context.fillRect(x - 1.5, y - 1.5, 3, 3) }
}

function drawDraft(context, view, { draft, snapped, painting }) {
  if (painting) { drawStroke(context, view, painting); return }
  const points = snapped || draft
  if (points.length > 1) { path(context, view, points); cased(context, 3, LIGHT) }
  for (const place of draft) dot(context, view, place)
}

function drawCrosshair(context, view) {
  const [x, y] = [view.size[0] / 2, view.size[1] / 2]
  context.beginPath()
  context.moveTo(x - 18, y); context.lineTo(x + 18, y); context.moveTo(x, y - 18); context.lineTo(x, y + 18)
  cased(context, 2, LIGHT)
}
