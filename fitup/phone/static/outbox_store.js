// What this phone keeps: photos until the server has acknowledged them, and which photos are being measured.
// IndexedDB, in the page and in the service worker alike. A photo leaves the store in the same transaction in
// which its acknowledgement is noted, so that it is always in one of the two.

const NAME = "fitup";
let opening = null;

// Where the phone's disk takes nothing (it is full, or the browser forbids it), as long as the page lives.
const passing = new Map();
const passingShots = new Map();

export const isPassing = (key) => passing.has(key);
export const anyPassing = () => passing.size > 0;

function database() {
  opening ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      request.result.createObjectStore("photos", { keyPath: "key" });
      request.result.createObjectStore("shots", { keyPath: "id" });
      request.result.createObjectStore("notes", { keyPath: "key" });
    };
    request.onsuccess = () => {
      request.result.onclose = () => (opening = null);
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
  });
  opening.catch(() => (opening = null));
  return opening;
}

async function transact(stores, mode, work) {
  const db = await database();
  return new Promise((resolve, reject) => {
    const transaction = db.transaction(stores, mode, { durability: "strict" });
    const result = { value: undefined };
    transaction.oncomplete = () => resolve(result.value);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
    work((name) => transaction.objectStore(name), result);
  });
}

function all(name) {
  return transact([name], "readonly", (store, result) => {
    store(name).getAll().onsuccess = (event) => (result.value = event.target.result);
  });
}

export const photoKey = (digest, job, joint) => `${digest} ${job} ${joint}`;

// True when the photo is on the phone's disk; false where it is kept by this page only.
export async function keepPhoto(photo) {
  try {
    await transact(["photos"], "readwrite", (store) => store("photos").put(photo));
    return true;
  } catch {
    passing.set(photo.key, photo);
    return false;
  }
}

export async function photos() {
  const found = [...(await all("photos").catch(() => [])), ...passing.values()];
  return found.sort((a, b) => a.added - b.added);
}

export async function changePhoto(key, change) {
  if (passing.has(key)) return passing.set(key, { ...passing.get(key), ...change });
  return transact(["photos"], "readwrite", (store) => {
    store("photos").get(key).onsuccess = (event) => {
      if (event.target.result) store("photos").put({ ...event.target.result, ...change });
    };
  });
}

export async function dropPhoto(key) {
  if (passing.delete(key)) return undefined;
  return transact(["photos"], "readwrite", (store) => store("photos").delete(key));
}

export async function acknowledged(photo, answer) {
  const { key, job, joint, name } = photo;
  const { id, state, position = 0 } = answer;
  const shot = { id, key, job, joint, name, since: Date.now(), state, position };
  if (passing.delete(key)) return keepShot(shot);
  return transact(["photos", "shots"], "readwrite", (store) => {
    store("photos").delete(key);
    store("shots").put(shot);
  });
}

export async function shots() {
  const found = [...(await all("shots").catch(() => [])), ...passingShots.values()];
  return found.sort((a, b) => b.since - a.since);
}

export async function keepShot(shot) {
  try {
    await transact(["shots"], "readwrite", (store) => store("shots").put(shot));
    passingShots.delete(shot.id);
  } catch {
    passingShots.set(shot.id, shot);
  }
}

export async function dropShot(id) {
  if (passingShots.delete(id)) return undefined;
  return transact(["shots"], "readwrite", (store) => store("shots").delete(id));
}

export function keepNote(key, value) {
  return transact(["notes"], "readwrite", (store) => store("notes").put({ key, value }));
}

export function note(key) {
  return transact(["notes"], "readonly", (store, result) => {
    store("notes").get(key).onsuccess = (event) => (result.value = event.target.result?.value);
  });
}
