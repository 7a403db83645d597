// Requests to the desk. The token came behind the address's #, stays in this tab, and goes out as a header.

const KEPT = 'desk-token'
const LARGEST_PHOTO = 200 * 2 ** 20
const given = location.hash.slice(1)
if (given && !given.startsWith('/')) {
  sessionStorage.setItem(KEPT, given)
  history.replaceState(null, '', '/#/field')
}
const token = sessionStorage.getItem(KEPT) || ''

export class Refused extends Error {
  constructor(status, cause, remedy) {
    super(`${cause} ${remedy}`.trim())
    this.status = status
  }
}

async function ask(path, options = {}) {
  const headers = { 'X-Desk-Token': token, ...options.headers }
  const answer = await fetch(path, { ...options, headers }).catch((error) => {
    throw error.name === 'AbortError' ? error : new Refused(503, 'The desk does not answer; it may have been closed.', '')
  })
  if (answer.ok) return answer
  const said = await answer.json().catch(() => ({}))
  throw new Refused(answer.status, said.cause || `The desk answered ${answer.status}.`, said.remedy || '')
}

const json = (method) => async (path, value) =>
  (await ask(path, {
    method,
    body: JSON.stringify(value ?? {}),
    headers: { 'Content-Type': 'application/json' },
  })).json()

export const get = async (path) => (await ask(path)).json()
export const put = json('PUT')
export const post = json('POST')

export async function picture(path, signal) {
  const answer = await ask(path, { signal })
  const place = answer.headers.get('x-place')
  return { blob: await answer.blob(), place: place && JSON.parse(place) }
}

export async function sendPhoto(file) {
  // The desk turns it away too, but closes the line meanwhile, of which a browser only says that it broke.
  if (file.size > LARGEST_PHOTO) throw new Refused(413, `${file.name} has more than ${LARGEST_PHOTO / 2 ** 20} MB.`, 'Save it smaller.')
  const headers = { 'X-Photo-Name': encodeURIComponent(file.name), 'Content-Type': 'application/octet-stream' }
  return (await ask('/api/photos', { method: 'POST', body: file, headers })).json()
}

/** The sheet that came with photos; `photos` says which name each of them got here. */
export async function sendSheet(file, photos) {
  const bytes = await new Promise((done, fail) => {
    const reader = new FileReader()
    reader.onload = () => done(reader.result)
    reader.onerror = () => fail(reader.error)
    reader.readAsDataURL(file)
  })
  return post('/api/sheet/file', { content_base64: bytes.slice(bytes.indexOf(',') + 1), photos })
}

export const wallPath = (name, rest = '') => `/api/walls/${encodeURIComponent(name)}${rest}`
