// Checks a bundle, unpacked into a folder, with published software only: node's own crypto, and the npm package
// canonicalize for RFC 8785. It follows by-hand.txt and shares no code with the program that wrote the bundle.
// Usage: node check.mjs FOLDER [FINGERPRINT]. It prints what does not fit, a line each, and ends with 1; else "ok".
import { createHash, createPublicKey, verify } from "node:crypto";
import { existsSync, readFileSync } from "node:fs";
import { join } from "node:path";
import canonicalize from "canonicalize";

const [folder, fingerprint] = process.argv.slice(2);
const file = (name) => readFileSync(join(folder, name));
const sha256 = (...parts) => parts.reduce((h, p) => h.update(p), createHash("sha256")).digest();
const faults = [];
const must = (good, what) => good || faults.push(what);

// 1 and 2: the key and the signature.
const [, name, id, encoded] = file("key.pub").toString().trim().match(/^([^+]+)\+([^+]+)\+(.+)$/); // base64 has a + too
const key = Buffer.from(encoded, "base64");
must(key.length === 33 && key[0] === 1, "key.pub holds no Ed25519 key");
const raw = key.subarray(1);
must(!fingerprint || sha256(raw).toString("hex") === fingerprint, "the key has another fingerprint");
must(sha256(name, "\n", key).subarray(0, 4).toString("hex") === id, "key.pub has a wrong id");
const note = file("checkpoint.txt").toString();
const end = note.indexOf("\n\n");
const text = note.slice(0, end + 1);
const spki = Buffer.concat([Buffer.from("302a300506032b6570032100", "hex"), raw]); // RFC 8410: Ed25519
const publicKey = createPublicKey({ key: spki, format: "der", type: "spki" });
const signed = note.slice(end + 2).split("\n").some((line) => {
  const blob = Buffer.from(line.split(" ").at(-1), "base64");
  return line.startsWith(`— ${name} `) && blob.subarray(0, 4).toString("hex") === id &&
    verify(null, Buffer.from(text), publicKey, blob.subarray(4));
});
must(signed, "checkpoint.txt does not bear the signature of key.pub");
const [origin, sizeText, rootText] = text.split("\n");
must(origin === name, "the checkpoint is of another ledger than the key");
const size = BigInt(sizeText);
const root = Buffer.from(rootText, "base64");

// 3: RFC 9162, 2.1.3.2.
const node = (a, b) => sha256(Buffer.from([1]), a, b);
function included(bytes, leaf, proof) {
  let fn = BigInt(leaf), sn = size - 1n, hash = sha256(Buffer.from([0]), bytes);
  if (fn > sn) return false;
  for (const p of proof.map((h) => Buffer.from(h, "base64"))) {
    if (sn === 0n) return false;
    if (fn % 2n === 1n || fn === sn) {
      hash = node(p, hash);
      while (fn % 2n === 0n && fn !== 0n) [fn, sn] = [fn / 2n, sn / 2n];
    } else {
      hash = node(hash, p);
    }
    [fn, sn] = [fn / 2n, sn / 2n];
  }
  return sn === 0n && hash.equals(root);
}

// RFC 9162, 2.1.4.2.
function goesOn(first, firstRoot, proof) {
  const path = proof.map((h) => Buffer.from(h, "base64"));
  if (first === size) return path.length === 0 && firstRoot.equals(root);
  if ((first & (first - 1n)) === 0n) path.unshift(firstRoot);
  if (path.length === 0) return false;
  let fn = first - 1n, sn = size - 1n;
  while (fn % 2n === 1n) [fn, sn] = [fn / 2n, sn / 2n];
  let fr = path[0], sr = path[0];
  for (const c of path.slice(1)) {
    if (sn === 0n) return false;
    if (fn % 2n === 1n || fn === sn) {
      [fr, sr] = [node(c, fr), node(c, sr)];
      while (fn % 2n === 0n && fn !== 0n) [fn, sn] = [fn / 2n, sn / 2n];
    } else {
      sr = node(sr, c);
    }
    [fn, sn] = [fn / 2n, sn / 2n];
  }
  return sn === 0n && fr.equals(firstRoot) && sr.equals(root);
}

const manifest = JSON.parse(file("manifest.json"));
must(manifest.format === "witnessmark/bundle/1", "manifest.json is of another form");
const entries = [];
for (const e of manifest.entries) {
  if (!existsSync(join(folder, e.file))) {
    faults.push(`${e.file} is missing`);
    continue;
  }
  const bytes = file(e.file);
  must(included(bytes, e.leaf, e.proof), `${e.file} is not leaf ${e.leaf}`);
  const entry = JSON.parse(bytes);
  must(canonicalize(entry) === bytes.toString(), `${e.file} is not canonical`); // 4
  entries.push([e.file, entry]);
}
const proved = new Set();
for (const p of manifest.earlier) {
  must(goesOn(BigInt(p.size), Buffer.from(p.root, "base64"), p.proof), `the ledger does not go on from ${p.size} leaves`);
  proved.add(`${p.size} ${p.root}`);
}

// 5: what is named is here.
const there = new Set(entries.map(([, e]) => (e.kind === "mark" ? `mark ${e.reading} ${e.no}` : `${e.kind} ${e.seq}`)));
must(there.has(`build ${manifest.build}`), "the build itself is missing");
for (const [name, e] of entries) {
  if (e.kind === "mark") {
    must(there.has(`reading ${e.reading}`), `${name} names reading ${e.reading}, which is missing`);
    must(e.no === "1" || there.has(`mark ${e.reading} ${e.no - 1}`), `${name} supersedes a mark that is missing`);
  }
  if (e.root && e.size !== "0" && !e.refused) must(proved.has(`${e.size} ${e.root}`), `${name} names a ledger that is not proved`);
}

// 6: the files.
for (const f of manifest.files) must(sha256(file(f.file)).toString("hex") === f.sha256, `${f.file} was changed`);

console.log(faults.length ? faults.join("\n") : `ok ${manifest.entries.length} entries, ${size} leaves`);
process.exitCode = faults.length ? 1 : 0;
