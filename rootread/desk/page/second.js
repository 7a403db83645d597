// A second reading of the same wall, another person's or the program's own, held against this one.

import { get, put, wallPath } from './api.js'
import { drawPair } from './overlay.js'
import { el, fixed, whole } from './parts.js'
import { shown, unitShown } from './units.js'
import { View } from './view.js'

export async function showSecond(shell, name) {
  const wall = await get(wallPath(name))
  const canvas = el('canvas', { tabindex: '0', role: 'img', 'aria-label': `Both readings of ${name} on the photo` })
  const said = el('div', { class: 'body', role: 'status' })
  let second = null
  let view = null
  let asked = 0
  /** What was asked for last is shown, whichever answer comes last. */
  const latest = async (answer, who) => {
    asked += 1
    const ticket = asked
    try {
      const found = await answer
      if (ticket === asked) show(found, who)
    } catch (error) { if (ticket === asked) throw error }
  }
  const file = el('input', { type: 'file', id: 'second-marks', class: 'file', accept: '.json,application/json', onchange: async (event) => {
    try {
      const marks = JSON.parse(await event.target.files[0].text())
      await latest(put(wallPath(name, '/second'), marks), 'the second person')
    } catch (error) { shell.say(error instanceof SyntaxError ? 'That is no marks file.' : error.message) }
    event.target.value = ''
  } })
  const ask = async (against) => {
    said.replaceChildren(el('p', {}, 'Reading …'))
    try {
      await latest(get(wallPath(name, `/second?against=${against}`)), against === 'program' ? 'the program alone' : 'the second person')
    } catch (error) { said.replaceChildren(el('p', {}, error.message)) }
  }
  const legend = el('p', { hidden: true }, el('i', { class: 'swatch both' }), 'both', el('br'), el('i', { class: 'swatch' }), 'this desk alone (broad)', el('br'),
    el('i', { class: 'swatch other' }), 'the other alone (dashed)')
  shell.main.className = 'wall second'
  shell.main.append(el('h1', { class: 'unseen' }, `Two readings of ${name}`), el('div', { class: 'photo' }, canvas),
    el('aside', { class: 'reading', 'aria-label': 'Agreement' }, el('div', { class: 'plate' },
      el('h2', {}, 'Two readings', el('small', {}, name)),
      legend,
      el('p', { class: 'row' }, file, el('label', { for: 'second-marks', class: 'button' }, 'Take in a second person’s marks'),
        el('button', { type: 'button', class: 'button', onclick: () => ask('program') }, 'Against the program alone')),
      el('p', {}, el('small', {}, `A second person mends the same photo on their own desk and hands over marks/${name}.json.`)),
      el('p', {}, el('a', { href: `#/wall/${encodeURIComponent(name)}` }, 'Back to the wall'))), said))

  if (wall.reading) {
    view = new View(canvas, wall.size_px, { overview: wallPath(name, '/overview.jpg'), tile: (key) => wallPath(name, `/tiles/${key}.jpg`) },
      (context) => drawPair(context, view, wall.reading, second))
    await ask('second')
  } else said.append(el('p', {}, 'This wall is not read yet.'))

  function show(answer, who) {
    legend.hidden = !answer.there
    if (!answer.there) {
      second = null
      said.replaceChildren(el('p', {}, 'There is no second person’s reading yet.'))
      view?.redraw()
      return
    }
    const { agreement: found } = answer
    second = answer
    view?.redraw()
    const percent = (share) => (share === null ? '–' : `${whole(100 * share)} %`)
    const spread = (limits, unit, digits) => (limits === null ? 'too few roots in common'
      : `${fixed(limits.mean, digits)} ${unit} on average; 95 of 100 roots between ${fixed(limits.low, digits)} and ${fixed(limits.high, digits)}`)
    const inShown = (limits) => limits && { mean: shown(limits.mean), low: shown(limits.low), high: shown(limits.high) }
    const row = (term, [one, other]) => el('tr', {}, el('th', { scope: 'row' }, term), el('td', {}, one), el('td', {}, other))
    said.replaceChildren(
      el('table', {}, el('thead', {}, el('tr', {}, el('td', {}), el('th', { scope: 'col' }, 'this desk'), el('th', { scope: 'col' }, who))), el('tbody', {},
        row('Grade', found.grade.map((value) => whole(value))), row('Verdict', found.verdict),
        row('Roots', found.roots.slice(0, 2)), row(`Root length, ${unitShown()}`, found.length_in.map((value) => whole(shown(value)))),
        row('Shared with the other', found.in_common.map(percent)), row('Descent, °', found.descent_deg.map((value) => fixed(value))))),
      el('p', {}, found.grades_overlap ? 'The likely ranges of the two grades overlap.' : 'The likely ranges of the two grades do not overlap: look together at where they differ.'),
      el('p', {}, `${found.roots[2]} roots were followed by both. Of these, the other reads: length ${spread(inShown(found.root_length_difference_in), unitShown(), 2)}; angle ${spread(found.root_angle_difference_deg, '°', 1)}.`))
  }

  return { leave: () => view?.close() }
}
