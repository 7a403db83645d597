// Lengths: inches in every value that comes and goes, on the page in the unit that the desk was opened with.

import { fixed, range } from './parts.js'

const INCHES = { in: 1, '"': 1, inch: 1, inches: 1, ft: 12, "'": 12, foot: 12, feet: 12, cm: 1 / 2.54, mm: 1 / 25.4, m: 1 / 0.0254 }
const WORDS = { in: ['an inch', 'inches', '15 cm'], cm: ['a centimetre', 'centimetres', '6 in'] }
let unit = 'in'

export const showLengthsIn = (name) => { unit = name }
export const unitShown = () => unit
/** One of the unit, the unit of many, and a length in another. */
export const unitWords = () => WORDS[unit]

/** Inches in the unit shown; null stays null. */
export const shown = (inches) => (inches === null || inches === undefined ? null : inches / INCHES[unit])
/** So much to the inch, to the unit shown. */
export const perShown = (perInch) => perInch * INCHES[unit]
export const fixedLength = (inches, digits = 1) => fixed(shown(inches), digits)
export const lengthWords = (inches, digits = 1) => `${fixedLength(inches, digits)} ${unit}`
/** How deep a layer is: at its left and its right end, where it is not level. */
export const layerDepth = ({ depth_in: depth, ends_in: [left, right] }) => (left === right ? lengthWords(depth) : `${fixedLength(left)} to ${lengthWords(right)}`)
export const lengthRange = ({ value, low, high }, digits = 0) => range({ value: shown(value), low: shown(low), high: shown(high) }, digits)
/** A length that a person gave, without zeros that they did not write. */
export const givenLength = (inches) => `${Number(shown(inches).toFixed(2))} ${unit}`

/** Inches of a length as people write it: 12, 12 in, 30 cm, 1 ft 6 in; a bare number is in the unit shown. NaN where it is none. */
export function inches(text) {
  let rest = text.trim().toLowerCase().replace(',', '.')
  let sum = 0
  let bare = INCHES[unit]
  if (!rest) return NaN
  while (rest) {
    const found = rest.match(/^(\d+(?:\.\d*)?|\.\d+)\s*([a-z]+|"|')?\s*/)
    if (!found || (found[2] && !(found[2] in INCHES))) return NaN
    sum += Number(found[1]) * (found[2] ? INCHES[found[2]] : bare)
    // What follows feet are inches.
    if (INCHES[found[2]] === 12) bare = 1
    rest = rest.slice(found[0].length)
  }
  return sum
}
