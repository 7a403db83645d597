// A person's changes to one wall: done, undone, redone, and each saved before it counts.
//
// What could not be saved waits in this browser, and is sent when the desk answers again.

import { get, put, Refused, wallPath } from './api.js'

const AGAIN_MS = 1500
const MOST_STEPS = 200
const MOST_UNANSWERED = 8

/** Marks as text that is the same whichever way they were put together. */
const spelled = (marks) => JSON.stringify({ ...marks, photo_size_px: null }, (_, value) => (
  value && typeof value === 'object' && !Array.isArray(value) ? Object.fromEntries(Object.entries(value).sort()) : value))

export class History {
  /** `onSaved(answer)` gets the wall as the desk has it; `onState(words, bad)` what to say of the saving. */
  constructor(name, photo, marks, revision, onSaved, onState) {
    Object.assign(this, { name, photo, marks, revision, onSaved, onState })
    const kept = JSON.parse(sessionStorage.getItem(this.key) || 'null')
    const fits = kept && JSON.stringify(kept.now) === JSON.stringify(marks)
    this.past = fits ? kept.past : []
    this.future = fits ? kept.future : []
    this.sending = false
    this.due = false // whether there is a change that the desk has not answered for yet
    this.timer = null
    this.unanswered = [] // sent, and perhaps saved, though the desk ended before it could say so
  }

  /** Send what waited in this browser, if the wall is still as it was when it was made. */
  resume() {
    const waiting = JSON.parse(localStorage.getItem(this.key) || 'null')
    const here = spelled(this.marks)
    const fits = waiting && (waiting.revision === this.revision || waiting.unanswered.includes(here))
    if (fits && spelled(waiting.marks) !== here) this.change(waiting.marks)
    else localStorage.removeItem(this.key)
  }

  get key() {
    return `desk-marks:${this.name}:${this.photo}` // the sheet may give the name to another photo
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
    this.due = true
    this.wait()
    this.keep()
    this.send()
  }

  wait() {
    const { marks, revision, unanswered } = this
    try {
      localStorage.setItem(this.key, JSON.stringify({ marks, revision, unanswered }))
    } catch { /* very many marks do not fit; they are sent all the same */ }
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
    this.unanswered = [...this.unanswered, spelled(marks)].slice(-MOST_UNANSWERED)
    this.wait()
    try {
      const answer = await put(wallPath(this.name, '/marks'), { marks, revision: this.revision })
      this.revision = answer.revision
      this.unanswered = []
      this.sending = false
      if (marks !== this.marks) { this.send(); return }
      this.due = false
      // The desk's own spelling of the marks is what later steps compare with.
      this.marks = answer.marks
      localStorage.removeItem(this.key)
      this.keep()
      this.onState('Saved', false)
      this.onSaved(answer)
    } catch (error) {
      const saved = error.status === 409 ? await this.savedUnanswered() : null
      this.sending = false
      if (saved) { this.revision = saved; this.send() } else this.failed(error)
    }
  }

  /** The marks' revision on the desk, where they are some that this page sent; null where another changed them. */
  async savedUnanswered() {
    const now = await get(wallPath(this.name)).catch(() => null)
    return now && now.revision !== this.revision && this.unanswered.includes(spelled(now.marks)) ? now.revision : null
  }

  failed(error) {
    if (error instanceof Refused && error.status !== 401 && error.status < 500) {
      // It makes no sense to the desk, or was overtaken: the wall is shown as it is there.
      localStorage.removeItem(this.key)
      this.unanswered = []
      this.due = false
      this.onState(error.message, true)
      if (this.past.length) { this.marks = this.past.at(-1); this.past = this.past.slice(0, -1) }
      this.onSaved(null)
      return
    }
    this.onState(`Not saved. ${error.message} Your change waits in this browser.`, true)
    this.timer = setTimeout(() => this.send(), AGAIN_MS)
  }

  close() {
    clearTimeout(this.timer)
  }
}
