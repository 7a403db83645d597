// The ways to mend a reading. Each takes places clicked on the photo and gives new marks.

import { rowAt } from './overlay.js'
import { givenLength, inches, unitShown } from './units.js'

const copy = (marks) => structuredClone(marks)
const distance = ([a, b], [c, d]) => Math.hypot(a - c, b - d)

/** The root nearest to a place, and the index of its nearest point; null beyond `reach` photo pixels. */
export function rootAt(roots, place, reach) {
  let best = null
  for (const root of roots) {
    for (let k = 1; k < root.points_px.length; k += 1) {
      const away = toSegment(place, root.points_px[k - 1], root.points_px[k])
      if (away.distance <= reach && (!best || away.distance < best.distance)) {
        best = { root, distance: away.distance, index: away.along > 0.5 ? k : k - 1, place: away.place }
      }
    }
  }
  return best
}

function toSegment([x, y], [x0, y0], [x1, y1]) {
  const [dx, dy] = [x1 - x0, y1 - y0]
  const length = dx * dx + dy * dy
  const along = length ? Math.min(Math.max(((x - x0) * dx + (y - y0) * dy) / length, 0), 1) : 0
  const place = [x0 + along * dx, y0 + along * dy]
  return { along, place, distance: distance([x, y], place) }
}

function endAt(roots, place, reach) {
  const ends = roots.flatMap((root) => [root.points_px[0], root.points_px.at(-1)].map((end) => ({ root, end })))
  ends.sort((a, b) => distance(a.end, place) - distance(b.end, place))
  return ends.length && distance(ends[0].end, place) <= reach ? ends[0] : null
}

const same = (one, other) => JSON.stringify(one) === JSON.stringify(other)

/** Marks without one of a list, by what it is: others may have come and gone since it was shown. */
function without(marks, list, mark) {
  const next = copy(marks)
  const at = next[list].findIndex((one) => same(one, mark))
  if (at >= 0) next[list].splice(at, 1)
  return next
}

function withAlso(marks, list, mark) {
  const next = copy(marks)
  if (!next[list].some((one) => same(one, mark))) next[list].push(mark)
  return next
}

/** Take a root out: one that was drawn is undrawn, one that was found is struck. `read` are the marks that its reading is of. */
export function strike({ marks, read }, root) {
  const number = /^m(\d+)$/.exec(root.id)
  return number ? without(marks, 'roots_added', read.roots_added[Number(number[1]) - 1]) : withAlso(marks, 'roots_struck_px', root.points_px)
}

/** Say that there is no layer: one that was drawn is undrawn, one that was found is struck. */
export function strikeLayer({ marks, read }, layer) {
  return layer.mark !== null ? without(marks, 'layers', read.layers[layer.mark]) : withAlso(marks, 'layers_struck_px', layer.line_px)
}

function layerAt(layers, [x, y], reach) {
  const near = layers.map((layer) => ({ layer, away: Math.abs(rowAt(layer.line_px, x) - y) }))
    .filter(({ layer, away }) => away <= reach && x >= layer.line_px[0][0] - reach && x <= layer.line_px.at(-1)[0] + reach)
  return near.sort((a, b) => a.away - b.away)[0]?.layer ?? null
}

/** The stretch of one root between two clicks, or words that say why there is none. */
function stretch([first, second], { reading, reach }) {
  // Of roots that lie close together, the one that both clicks fit best.
  const fits = reading.roots.map((root) => [rootAt([root], first, reach), rootAt([root], second, reach)])
    .filter(([a, b]) => a && b).sort(([a, b], [c, d]) => a.distance + b.distance - c.distance - d.distance)
  if (!fits.length) return 'Both places must lie on one root line.'
  const [one, other] = fits[0]
  const [from, to] = [one.index, other.index].sort((a, b) => a - b)
  return to === from ? 'Click two places farther apart.' : one.root.points_px.slice(from, to + 1)
}

/** Marks with a stretch said to be flattened or not; what was said of the same stretch before no longer holds. */
function said(name, opposite) {
  return (places, context) => {
    const line = stretch(places, context)
    if (typeof line === 'string') return line
    const next = copy(context.marks)
    next[opposite] = next[opposite].filter((other) => !other.some((at) => line.some((point) => distance(at, point) <= context.reach)))
    next[name].push(line)
    return next
  }
}

const sorted = (points) => [...points].sort((a, b) => a[0] - b[0])

/** The level line of the wall through one place, across the photo or as wide as the layer that is moved. */
function levelThrough([x, y], reading, columns) {
  const rows = reading.rule.map(({ line_px }) => rowAt(line_px, x))
  let k = rows.findIndex((row) => row >= y)
  k = Math.min(Math.max(k, 1), rows.length - 1)
  const share = (y - rows[k - 1]) / (rows[k] - rows[k - 1])
  const near = [...reading.layers].sort((a, b) => Math.abs(rowAt(a.line_px, x) - y) - Math.abs(rowAt(b.line_px, x) - y))[0]
  const [from, to] = near ? [near.line_px[0][0], near.line_px.at(-1)[0]] : [0, columns - 1]
  return [0, 1, 2, 3, 4].map((part) => {
    const column = from + (to - from) * part / 4
    const [above, below] = [rowAt(reading.rule[k - 1].line_px, column), rowAt(reading.rule[k].line_px, column)]
    return [column, above + share * (below - above)]
  })
}

const line = (least, put) => ({ least, done: (places, context) => put(copy(context.marks), places, context) })

/** A tool that `reads` works on what was found. Where `most` places are in, the tool is done by itself; `asks` names what is asked for first, and `asking` says how to answer. */
export const TOOLS = [
  { id: 'strike', reads: true, group: 'Roots', key: 's', word: 'Strike', most: 1, least: 1,
    hint: 'Click a line that is no root.',
    done: ([place], { marks, read, reading, reach }) => {
      const found = rootAt(reading.roots, place, reach)
      return found ? strike({ marks, read }, found.root) : 'There is no root line here. Click nearer to one.'
    } },
  { id: 'draw', group: 'Roots', key: 'd', word: 'Draw', snaps: true,
    hint: 'Click along a missing root, base first. The line keeps to the root by itself. Done ends it.',
    ...line(2, (marks, places, { snapped, width }) => {
      marks.roots_added.push({ points_px: snapped || places, width_px: width ?? null })
      return marks
    }) },
  { id: 'split', reads: true, group: 'Roots', key: 'p', word: 'Part', most: 1, least: 1,
    hint: 'Click where one line is really two roots.',
    done: ([place], { marks, reading, reach }) => {
      const found = rootAt(reading.roots, place, reach)
      if (!found) return 'There is no root line here. Click nearer to one.'
      const next = copy(marks)
      next.splits_px.push(found.place)
      return next
    } },
  { id: 'join', reads: true, group: 'Roots', key: 'j', word: 'Join', most: 2, least: 2,
    hint: 'Click the end of one line, then the end of the line that goes on from it.',
    done: ([first, second], { marks, reading, reach }) => {
      const one = endAt(reading.roots, first, reach * 3)
      const other = one && endAt(reading.roots.filter((root) => root !== one.root), second, reach * 3)
      if (!other) return 'Click close to the ends of two lines.'
      const next = copy(marks)
      next.joins_px.push([one.end, other.end])
      return next
    } },
  { id: 'flattened', reads: true, group: 'Roots', key: 'f', word: 'Flattened', most: 2, least: 2,
    hint: 'Click where the squeezed stretch of a root begins, then where it ends.',
    done: said('flattened_px', 'not_flattened_px') },
  { id: 'round', reads: true, group: 'Roots', key: 'n', word: 'Not flattened', most: 2, least: 2,
    hint: 'Click where the stretch that only looks squeezed (white beads) begins, then where it ends.',
    done: said('not_flattened_px', 'flattened_px') },
  { id: 'root', group: 'Roots', key: 'r', word: 'Paint root', paints: 'root', hint: 'Paint over root that was missed. Drag, or click along it.',
    ...line(1, (marks, places, { brush }) => { marks.strokes.push({ says: 'root', points_px: places, width_px: brush }); return marks }) },
  { id: 'soil', group: 'Roots', key: 'e', word: 'Paint soil', paints: 'soil', hint: 'Paint over soil that was taken for root. Drag, or click along it.',
    ...line(1, (marks, places, { brush }) => { marks.strokes.push({ says: 'soil', points_px: places, width_px: brush }); return marks }) },
  { id: 'scale', group: 'Wall', key: 'm', word: 'Scale', most: 4,
    hint: 'Click two points whose distance you know, or the four corners of a rectangle from its top left on, clockwise.',
    asks: (places) => (places.length >= 4 ? ['Width', 'Height'] : ['Distance between them']),
    asking: (places) => ['Write how far apart they are, or click on: four corners make a rectangle.', 'Click the fourth corner.',
      'Write the sides of the rectangle.'][Math.min(places.length, 4) - 2],
    ...line(2, (marks, places, { answers }) => {
      const lengths = answers.map(inches)
      if (lengths.some((length) => !(length > 0))) {
        return `Write a length, such as ${unitShown() === 'cm' ? '90, 90 cm or 36 in' : '36, 36 in or 90 cm'}.`
      }
      if (places.length === 3) return 'Two points, or four corners.'
      const [width, height] = lengths
      const corners = [[0, 0], [width, 0], [width, height], [0, height]]
      marks.scale_points = places.map((px, k) => ({ px, at_in: places.length === 4 ? corners[k] : null }))
      marks.distance_in = places.length === 4 ? null : width
      return marks
    }) },
  { id: 'plumb', group: 'Wall', key: 'l', word: 'Plumb', most: 2,
    hint: 'Click two places on something that hung plumb, such as a string or the edge of a hung card.',
    ...line(2, (marks, places) => { marks.plumb_px = [...places].sort((a, b) => a[1] - b[1]); return marks }) },
  { id: 'surface', group: 'Wall', key: 'g', word: 'Surface', hint: 'Click along the soil surface from side to side, under the residue. Done ends it.',
    ...line(2, (marks, places) => { marks.surface_px = sorted(places); return marks }) },
  { id: 'outline', group: 'Wall', key: 'o', word: 'Outline', hint: 'Click around the cleaned wall. Roots outside it do not count. Done closes it.',
    ...line(3, (marks, places) => { marks.outline_px = places; return marks }) },
  { id: 'layer', reads: true, group: 'Wall', key: 'y', word: 'Layer', hint: 'Click the depth where the layer is, or click along it. The nearest layer moves there. Done ends it.',
    ...line(1, (marks, places, { reading, columns }) => {
      marks.layers.push({ line_px: places.length > 1 ? sorted(places) : levelThrough(places[0], reading, columns), name: '' })
      return marks
    }) },
  { id: 'nolayer', reads: true, group: 'Wall', key: 'x', word: 'No layer', most: 1, least: 1,
    hint: 'Click the line of a layer that is none. One that you drew is taken back.',
    done: ([place], { marks, read, reading, reach }) => {
      const layer = layerAt(reading.layers, place, reach)
      return layer ? strikeLayer({ marks, read }, layer) : 'There is no layer line here. Click nearer to one.'
    } },
  { id: 'floor', group: 'Wall', key: 'b', word: 'Loosened floor', hint: 'Click along the floor of the loosened soil from side to side. Done ends it.',
    ...line(2, (marks, places) => { marks.loosened_floor_px = sorted(places); return marks }) },
]

/** Every mark a person made, in words, each with how marks are without it. */
export function markList(marks) {
  const list = []
  const single = (name, empty, words) => {
    if (marks[name].length) list.push({ words, without: (now) => ({ ...copy(now), [name]: empty }) })
  }
  if (marks.scale_points.length) {
    const words = marks.distance_in ? `Scale from two points, ${givenLength(marks.distance_in)} apart` : 'Scale from a rectangle'
    list.push({ words, without: (now) => ({ ...copy(now), scale_points: [], distance_in: null }) })
  }
  single('plumb_px', [], 'Plumb line')
  single('surface_px', [], 'Soil surface')
  single('outline_px', [], 'Wall outline')
  single('loosened_floor_px', [], 'Floor of the loosened soil')
  const many = (name, words) => marks[name].forEach((mark) => list.push({
    words: words(mark), at: place(mark), without: (now) => without(now, name, mark),
  }))
  many('layers', (mark) => (mark.name ? `Layer ${mark.name}` : 'Layer'))
  many('layers_struck_px', () => 'Layer struck')
  many('roots_added', () => 'Root drawn')
  many('roots_struck_px', () => 'Root struck')
  many('splits_px', () => 'Root parted')
  many('joins_px', () => 'Roots joined')
  many('flattened_px', () => 'Flattened stretch')
  many('not_flattened_px', () => 'Stretch not flattened')
  many('strokes', (mark) => `Painted ${mark.says}`)
  return list
}

function place(mark) {
  const points = mark.points_px || mark.line_px || mark
  return Array.isArray(points[0]) ? points[Math.floor(points.length / 2)] : points
}
