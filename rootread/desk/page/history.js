// A person's changes to one wall: done, undone, redone, and each saved before it counts.
//
// What could not be saved waits in this browser, and is sent when the desk answers again.

import { put, Refused, wallPath } from './api.js'

const AGAIN_MS = 1500
const MOST_STEPS = 200

export class History {
  /** `onSaved(answer)` gets the wall as the desk has it; `onState(words, bad)` what to say of the saving. */
  constructor(name, marks, revision, onSaved, onState) {
    Object.assign(this, { name, marks, revision, onSaved, onState })
    const kept = JSON.parse(sessionStorage.getItem(this.key) || 'null')
    const fits = kept && JSON.stringify(kept.now) === JSON.stringify(marks)
    this.past = fits ? kept.past : []
    this.future = fits ? kept.future : []
    this.sending = false
    this.timer = null
  }

  /** Send what waited in this browser, if the wall is still as it was when it was made. */
  resume() {
    const waiting = JSON.parse(localStorage.getItem(this.key) || 'null')
    if (waiting && waiting.revision === this.revision) this.change(waiting.marks)
    else localStorage.removeItem(this.key)
  }

  get key() {
    return `desk-marks:${this.name}`
  }

  change(marks) {
    this.past = [...this.past, this.marks].slice(-MOST_STEPS)
    this.future = []
    this.set(marks)
  }

  undo() {
    if (!this.past.length) return
    this.future = [this.marks, ...this.future]
    this.set(this.past.at(-1), this.past.slice(0, -1))
  }

  redo() {
    if (!this.future.length) return
    const [next, ...rest] = this.future
    this.past = [...this.past, this.marks]
    this.future = rest
    this.set(next)
  }

  set(marks, past = this.past) {
    this.marks = marks
    this.past = past
    localStorage.setItem(this.key, JSON.stringify({ marks, revision: this.revision }))
    this.keep()
    this.send()
  }

  keep() {
    const { past, future, marks: now } = this
    try {
      sessionStorage.setItem(this.key, JSON.stringify({ past, future, now }))
    } catch { /* a very long history does not fit; it is still there until the page is left */ }
  }

  async send() {
    if (this.sending) return
    clearTimeout(this.timer)
    this.sending = true
    const marks = this.marks
    this.onState('Saving …', false)
    try {
      const answer = await put(wallPath(this.name, '/marks'), { marks, revision: this.revision })
      this.revision = answer.revision
      this.sending = false
      if (marks !== this.marks) { this.send(); return }
      // The desk's own spelling of the marks is what later steps compare with.
      this.marks = answer.marks
      localStorage.removeItem(this.key)
      this.keep()
      this.onState('Saved', false)
      this.onSaved(answer)
    } catch (error) {
      this.sending = false
      this.failed(error)
    }
  }

  failed(error) {
    if (error instanceof Refused && error.status !== 401 && error.status < 500) {
      // It makes no sense to the desk, or was overtaken: the wall is shown as it is there.
      localStorage.removeItem(this.key)
      this.onState(error.message, true)
      if (this.past.length) { this.marks = this.past.at(-1); this.past = this.past.slice(0, -1) }
      this.onSaved(null)
      return
    }
    const why = error instanceof Refused ? error.message : 'The desk does not answer.'
    this.onState(`Not saved. ${why} Your change waits in this browser.`, true)
    this.timer = setTimeout(() => this.send(), AGAIN_MS)
  }

  close() {
    clearTimeout(this.timer)
  }
}
