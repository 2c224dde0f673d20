// The pose network and its runtime: 9 MB on the line and 19 unpacked, fetched only when the check is
// opened, with a bar, and kept on the phone for the next time, also without a connection.
const CACHE = "causeway-check-1";

async function piece(url, onBytes, signal) {
  const store = await globalThis.caches?.open(CACHE).catch(() => undefined);
  const kept = await store?.match(url);
  if (kept) {
    const blob = await kept.blob();
    onBytes(blob.size);
    return blob;
  }
  const answer = await fetch(url, { signal });
  if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
  const parts = [], reader = answer.body.getReader();
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    parts.push(value);
    onBytes(value.length);
  }
  const blob = new Blob(parts, { type: answer.headers.get("Content-Type") ?? "" });
  await store?.put(url, new Response(blob)).catch(() => {});
  return blob;
}

/** Whether all of it is on this phone. @param {{binary: string, model: string}} from */
export async function isKept({ binary, model }) {
  const store = await globalThis.caches?.open(CACHE).catch(() => undefined);
  const found = await Promise.all([binary, model].map((url) => store?.match(url)));
  return found.every(Boolean);
}

/**
 * @param {{library: string, loader: string, binary: string, model: string, bytes: string, lineBytes: string}} from addresses, and the size of all, unpacked and on the line
 * @param {(done: number, all: number) => void} onProgress bytes on the line
 * @param {AbortSignal} signal gives it up, so that a film has the line to itself
 */
export async function loadCheck({ library, loader, binary, model, bytes, lineBytes }, onProgress, signal) {
  let done = 0;
  const all = Number(bytes), line = Number(lineBytes);
  // What is read here is unpacked already: its share is told of what the line carries.
  const more = (count) => onProgress(Math.min(1, (done += count) / all) * line, line);
  const [wasm, net, { PoseLandmarker }] = await Promise.all([
    piece(binary, more, signal), piece(model, more, signal), import(library),
  ]);
  const address = URL.createObjectURL(new Blob([wasm], { type: "application/wasm" }));
  try {
    return await PoseLandmarker.createFromOptions(
      { wasmLoaderPath: loader, wasmBinaryPath: address },
      { baseOptions: { modelAssetBuffer: new Uint8Array(await net.arrayBuffer()) }, runningMode: "VIDEO", numPoses: 1 },
    );
  } finally {
    URL.revokeObjectURL(address);
  }
}
