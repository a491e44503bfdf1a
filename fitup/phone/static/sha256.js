// SHA-256 by FIPS 180-4. Browsers lend theirs only to pages with a certificate; this one works on any page.

const K = new Uint32Array(64);
const START = new Uint32Array(8);

// The constants are the first 32 bits of the fractional parts of roots of the first primes (FIPS 180-4, 4.2.2, 5.3.3).
(function fill() {
  const fraction = (root) => ((root - Math.floor(root)) * 2 ** 32) >>> 0;
  let count = 0;
  for (let number = 2; count < 64; number += 1) {
    let prime = true;
    for (let d = 2; d * d <= number; d += 1) if (number % d === 0) prime = false;
    if (!prime) continue;
    if (count < 8) START[count] = fraction(Math.sqrt(number));
    K[count] = fraction(Math.cbrt(number));
    count += 1;
  }
})();

export async function sha256(buffer) {
  if (globalThis.crypto?.subtle) return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", buffer)));
  return plainSha256(buffer);
}

export function plainSha256(buffer) {
  const bytes = new Uint8Array(buffer);
  const whole = bytes.length - (bytes.length % 64);
  const state = START.slice();
  const words = new Uint32Array(64);
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  for (let at = 0; at < whole; at += 64) block(state, words, view, at);
  const rest = new Uint8Array(bytes.length - whole + 9 > 64 ? 128 : 64);
  rest.set(bytes.subarray(whole));
  rest[bytes.length - whole] = 0x80;
  const tail = new DataView(rest.buffer);
  tail.setUint32(rest.length - 8, Math.floor(bytes.length / 2 ** 29));
  tail.setUint32(rest.length - 4, (bytes.length << 3) >>> 0);
  for (let at = 0; at < rest.length; at += 64) block(state, words, tail, at);
  const digest = new DataView(new ArrayBuffer(32));
  state.forEach((word, k) => digest.setUint32(4 * k, word));
  return hex(new Uint8Array(digest.buffer));
}

function block(state, words, view, at) {
  for (let t = 0; t < 16; t += 1) words[t] = view.getUint32(at + 4 * t);
  for (let t = 16; t < 64; t += 1) {
    const x = words[t - 15];
    const y = words[t - 2];
    const s0 = ((x >>> 7) | (x << 25)) ^ ((x >>> 18) | (x << 14)) ^ (x >>> 3);
    const s1 = ((y >>> 17) | (y << 15)) ^ ((y >>> 19) | (y << 13)) ^ (y >>> 10);
    words[t] = (words[t - 16] + s0 + words[t - 7] + s1) | 0;
  }
  let [a, b, c, d, e, f, g, h] = state;
  for (let t = 0; t < 64; t += 1) {
    const s1 = ((e >>> 6) | (e << 26)) ^ ((e >>> 11) | (e << 21)) ^ ((e >>> 25) | (e << 7));
    const first = (h + s1 + ((e & f) ^ (~e & g)) + K[t] + words[t]) | 0;
    const s0 = ((a >>> 2) | (a << 30)) ^ ((a >>> 13) | (a << 19)) ^ ((a >>> 22) | (a << 10));
    const second = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
    [h, g, f, e, d, c, b, a] = [g, f, e, (d + first) | 0, c, b, a, (first + second) | 0];
  }
  [a, b, c, d, e, f, g, h].forEach((word, k) => {
    state[k] = (state[k] + word) | 0;
  });
}

function hex(bytes) {
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}
