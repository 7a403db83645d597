// What was read of a wall, in words and figures: beside the photo, or below it where the page is narrow.

import { RAMP } from './overlay.js'
import { el, fixed, gradeBar, range, shareWords, whole } from './parts.js'
import { markList, strikeLayer } from './tools.js'
import { fixedLength, layerDepth, lengthRange, lengthWords, perShown, unitShown, unitWords } from './units.js'

const SURFACE = { photo: 'found in the photo', marks: 'drawn by hand', assumed: 'not seen; depths are from the top of the photo' }
const LEVEL = { card: 'the hung card', staff: 'the staff', photo: "the photo's upright", surface: 'the soil surface', marks: 'a line drawn by hand' }
/** What the last change did to the grade; half a point is worth seeing though the grade is told in whole ones. */
function changeWords(before, now) {
  if (before === null || before === undefined || now === null) return ''
  const by = Math.abs(now - before).toFixed(1)
  return `${by === '0.0' ? 'unmoved' : `${now < before ? '−' : '+'}${by}`} by the last change`
}

const MOST_ROOTS = 400

export function readingPanel(acts) {
  const state = el('p', { class: 'state', role: 'status' })
  const verdict = el('div', { class: 'plate' })
  const body = el('div', { class: 'body' })
  let checked = () => {}
  // Made once, so that it keeps the keyboard's focus when all around it is written anew.
  const tick = el('input', { type: 'checkbox', id: 'checked', onchange: () => checked(tick.checked) })
  const next = el('p', { class: 'next' })
  const looked = el('div', { hidden: true }, el('label', { class: 'check' }, tick, 'Checked by eye'), next)
  const element = el('aside', { class: 'reading', 'aria-label': 'Reading' }, verdict, looked, state, body)
  const opened = new Set(['looks', 'marks'])

  const fold = (id, title, ...content) => el('details', { open: opened.has(id), 'data-id': id, ontoggle: (event) => {
    if (event.target.open) opened.add(id)
    else opened.delete(id)
  } }, el('summary', {}, title), ...content)

  const heading = (wall) => el('h2', {}, wall.name, el('small', {}, [wall.pit, wall.treatment].filter(Boolean).join(' · ')))

  function update(wall, { before, marks }) {
    const { reading } = wall
    looked.hidden = Boolean(wall.cause) || !reading
    if (wall.cause) {
      verdict.replaceChildren(heading(wall), el('p', {}, el('b', {}, 'Not read. '), wall.cause), el('p', {}, el('b', {}, wall.remedy)),
        reading ? el('p', {}, 'The figures below and the lines on the photo are of before the last change.') : '')
    }
    if (!reading) {
      if (!wall.cause) verdict.replaceChildren(heading(wall))
      body.replaceChildren(...mendedByHand(marks))
      return
    }
    const { grade } = reading
    if (!wall.cause) {
      verdict.replaceChildren(
        heading(wall),
        el('p', { class: 'score' }, el('b', { class: `tone ${reading.tone}`, id: 'grade', 'data-value': grade.value }, whole(grade.value)),
          el('span', {}, `${reading.verdict}, likely ${whole(grade.low)} to ${whole(grade.high)}`)),
        gradeBar([grade.value, grade.low, grade.high], before),
        el('p', { class: 'change' }, changeWords(before, grade.value)))
    }
    // It is the reading as it stands that is checked, so not one that is still being made.
    tick.checked = wall.checked
    tick.disabled = wall.settled === false
    checked = (yes) => acts.change((now) => ({ ...now, checked: yes ? wall.reads : '' }))
    const { figures, scale } = reading
    const pairs = (rows) => el('dl', {}, rows.map(([term, value]) => [el('dt', {}, term), el('dd', {}, value)]))
    const held = body.contains(document.activeElement) && document.activeElement.closest('details')?.dataset.id
    body.replaceChildren(
      reading.looks.length ? fold('looks', `To look at (${reading.looks.length})`, el('ul', {}, reading.looks.map((look) => el('li', {}, look.says)))) : '',
      ...mendedByHand(marks),
      fold('lines', 'What the lines mean', el('span', { class: 'ramp', style: `background:linear-gradient(to right, ${RAMP.join()})` }),
        el('p', { class: 'ends' }, el('span', {}, 'level'), el('span', {}, '30°'), el('span', {}, '60° and steeper')),
        el('p', {}, 'Dashed coloured: perhaps no root, or not followed right. White beads: looks flattened. Long white dashes: a layer; dots with crosses: one that was struck. ' +
          'White line: the soil surface. Fine dots: the scale object.')),
      fold('figures', 'Figures', pairs([
        ['Roots', `${figures.roots}, ${lengthRange(figures.root_length_in)} ${unitShown()} long together`],
        ['Descent', `${range(figures.descent_deg)}° below level`],
        ['Length / straight way', range(figures.tortuosity, 2)],
        ['Ran sideways', `${lengthRange(figures.sideways_in)} ${unitShown()}`],
        ['Looks flattened', shareWords(figures.flattened_share)],
        ['Scale', `${scale.kind}, ${fixed(perShown(scale.px_per_in))} photo pixels ${unitWords()[0]}, give or take ${fixed(200 * scale.px_per_in_se / scale.px_per_in)} %`],
        ['Plumb', `from ${LEVEL[scale.level]}, ± ${fixed(2 * scale.level_se_deg)}°`],
        ['Soil surface', `${SURFACE[scale.surface]}, ± ${lengthWords(2 * scale.surface_se_in)}`],
      ])),
      fold('parts', 'Parts of the grade', el('ul', { class: 'parts' }, reading.parts.map((part) => el('li', {},
        el('b', {}, `${part.name} ${whole(part.score)}`), el('span', {}, ` · counts ${Math.round(100 * part.weight)} %`), el('br'), part.reason)))),
      fold('layers', `Layers (${reading.layers.length})`, ...layerList(reading, wall.marks)),
      fold('advice', 'What to do', reading.advice.map((one) => el('p', {}, one.text, el('small', {}, one.evidence))),
        el('ul', { class: 'before' }, reading.advice_cautions.map((caution) => el('li', {}, caution)))),
      fold('roots', `Roots (${reading.roots.length})`, rootTable(reading.roots)),
      el('p', {}, el('a', { href: `#/second/${encodeURIComponent(wall.name)}` }, 'Compare with a second reading')))
    if (held) body.querySelector(`details[data-id="${held}"] summary`)?.focus()
  }

  function mendedByHand(marks) {
    const drawn = markList(marks)
    return drawn.length ? [fold('marks', `Mended by hand (${drawn.length})`, el('ul', { class: 'marks' }, drawn.map((mark) => el('li', {},
      mark.at ? el('button', { type: 'button', class: 'plain', onclick: () => acts.show(mark.at) }, mark.words) : mark.words,
      el('button', { type: 'button', class: 'small', 'aria-label': `Take back: ${mark.words}`, onclick: () => acts.change(mark.without) }, 'Take back')))))] : []
  }

  function layerList({ layers, layers_struck_in: struck }, read) {
    if (!layers.length && !struck.length) return [el('p', {}, 'No depth at which roots turned or stopped together.')]
    return [el('ul', {},
      layers.map((layer) => el('li', {}, el('b', {}, layerDepth(layer)),
        ` ± ${fixedLength(2 * layer.depth_se_in)}: of ${layer.reached} roots that came to it ${layer.crossed} crossed, ${layer.turned} turned, ${layer.stopped} stopped. Sheet: ${layer.recorded}. `,
        el('button', { type: 'button', class: 'small', 'aria-label': `No layer at ${layerDepth(layer)}`, onclick: () => acts.change((now) => strikeLayer({ marks: now, read }, layer)) }, 'No layer'))),
      struck.map((depth) => el('li', {}, el('s', {}, lengthWords(depth)), ' struck by hand.')))]
  }

  function rootTable(roots) {
    const rows = [...roots].sort((a, b) => b.length_in - a.length_in).slice(0, MOST_ROOTS).map((root) => {
      const middle = root.points_px[Math.floor(root.points_px.length / 2)]
      return el('tr', { onmouseenter: () => acts.hover(root.id), onmouseleave: () => acts.hover(null), onfocusin: () => acts.hover(root.id), onfocusout: () => acts.hover(null) },
        el('th', { scope: 'row' }, el('button', { type: 'button', class: 'plain', 'aria-label': `Show ${root.id}`, onclick: () => acts.show(middle) }, root.id)),
        el('td', {}, fixedLength(root.length_in)), el('td', {}, whole(root.descent_deg)),
        el('td', {}, el('button', { type: 'button', class: 'small', 'aria-label': `Strike ${root.id}`, onclick: () => acts.strike(root) }, 'Strike')))
    })
    return el('table', {}, el('caption', {}, 'Degrees are below level; with a minus the root rises from where it seems to begin.'), el('thead', {}, el('tr', {}, ['Root', unitShown(), '°'].map((word) => el('th', { scope: 'col' }, word)), el('td', {}))), el('tbody', {}, rows))
  }

  return {
    element,
    update,
    /** The way on to the wall that needs a look next. */
    goOn(wall) {
      next.replaceChildren(...(wall ? ['Next to look at: ', el('a', { href: `#/wall/${encodeURIComponent(wall.name)}` }, wall.name)] : []))
    },
    stage(wall) {
      const words = wall.status === 'reading' || wall.status === 'waiting' ? `Reading: ${wall.stage || 'waiting its turn'} …`
        : wall.settled === false && !wall.cause ? `First figures; it is being read whole: ${wall.stage || 'waiting'} …` : ''
      if (state.textContent !== words) state.textContent = words
    },
  }
}
