// Small pieces that several screens show.

export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag)
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue
    if (name.startsWith('on')) made.addEventListener(name.slice(2), value)
    else if (name === 'class') made.className = value
    else made.setAttribute(name, value === true ? '' : value)
  }
  made.append(...children.flat(9).filter((child) => child !== null && child !== undefined && child !== false))
  return made
}

export const whole = (value) => (value === null || value === undefined ? '–' : Math.round(value).toString())
export const fixed = (value, digits = 1) => (value === null || value === undefined ? '–' : value.toFixed(digits))

/** Seconds in words as fine as anyone needs, the same as the command line's. */
export function timeLeft(seconds) {
  if (seconds < 100) return `${Math.round(seconds)} s`
  return seconds < 6000 ? `${Math.round(seconds / 60)} min` : `${(seconds / 3600).toFixed(1)} h`
}

export function range(interval, digits = 0) {
  if (interval.value === null) return '–'
  return `${fixed(interval.value, digits)} (${fixed(interval.low, digits)} to ${fixed(interval.high, digits)})`
}

/** A share with its range, as the report says it: what is there and rounds to nothing is not said to be nothing. */
export function shareWords({ value, low, high }) {
  if (value === null) return '–'
  const share = value > 0 && value < 0.005 ? 'under 1' : fixed(100 * value, 0)
  return `${share} % (${fixed(100 * low, 0)} to ${fixed(100 * high, 0)})`
}

let verdicts = []
/** The words of the grade and what each covers of 0 to 100, by the settings that walls are graded with. */
export const gradeBy = (ranges) => { verdicts = ranges }

/** The grade on 0 to 100 with its interval; `before` leaves a mark where it was. */
export function gradeBar([value, low, high], before = null) {
  if (value === null || value === undefined) return el('span', { class: 'grade none' })
  const at = (x) => `left:${x}%`
  return el('span', { class: 'grade', 'aria-hidden': 'true' },
    verdicts.map(({ word, low: from, high: to }) => el('i', { class: `zone ${word}`, style: `${at(from)};width:${to - from}%` })),
    el('i', { class: 'likely', style: `${at(low)};width:${high - low}%` }),
    before !== null && Math.abs(before - value) >= 0.1 && el('i', { class: 'was', style: at(before) }),
    el('i', { class: 'now', style: at(value) }))
}

/** The grade in few words: with a refusal beside it, it is that of before, and is called so. */
export function verdictWords(wall) {
  const words = `${wall.verdict} ${whole(wall.grade[0])}`
  if (!wall.cause) return el('b', { class: `tone ${wall.tone}` }, words)
  return [el('b', {}, 'Not read since the last change.'), ` Before it, and as pictured: ${words}`]
}

/** A picture that needs the token: fetched, then shown. */
export function heldPicture(load, attributes) {
  const image = el('img', attributes)
  load().then(({ blob }) => {
    image.src = URL.createObjectURL(blob)
    image.addEventListener('load', () => URL.revokeObjectURL(image.src), { once: true })
  }, () => image.classList.add('missing'))
  return image
}
