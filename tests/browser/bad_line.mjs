// A line between a page and the station that is slow and loses: in the kernel where it can (tc netem in a network namespace),
// and in any case by a relay, as TCP shows such a line to whoever uses it. Retransmission takes the sender's timer of at least
// 200 ms and a way there and back (RFC 6298, with Linux's lower bound), and everything behind the lost segment waits for it.
import { spawnSync } from 'node:child_process';
import { connect, createServer } from 'node:net';

const kRetransmit_ms = 200;

/** Listens on a port of its own and passes everything on to `address`. `loss`: of chunks; the same ones in every run. */
export async function relay(address, { delay_ms, loss = 0, seed = 1 }) {
  let state = seed;
  const random = () => (state = (state * 48271) % 2147483647) / 2147483647; // Park and Miller, CACM 31 (1988) 1192
  const open = new Set();
  const pass = (from, to) => {
    let free_ms = 0; // nothing overtakes
    from.on('data', (bytes) => {
      const lost_ms = random() < loss ? kRetransmit_ms + 2 * delay_ms : 0;
      free_ms = Math.max(free_ms, Date.now() + delay_ms + lost_ms);
      setTimeout(() => to.destroyed || to.write(bytes), free_ms - Date.now());
    });
    from.on('close', () => setTimeout(() => to.end(), Math.max(0, free_ms - Date.now()) + 1)); // what is under way arrives first
    from.on('error', () => to.destroy());
  };
  const server = createServer((near) => {
    const far = connect({ host: '127.0.0.1', port: Number(new URL(address).port), noDelay: true });
    for (const socket of [near, far]) {
      open.add(socket);
      socket.on('close', () => open.delete(socket));
    }
    pass(near, far);
    pass(far, near);
  });
  await new Promise((done) => server.listen(0, '127.0.0.1', done));
  return {
    address: `http://127.0.0.1:${server.address().port}/`,
    stop: () => {
      server.close();
      for (const socket of open) socket.destroy();
    },
  };
}

const run = (command, ...args) => spawnSync(command, args, { encoding: 'utf8' });

/** A namespace at the other end of a line that the kernel delays and thins out; or why there is none. */
export function namespace(name, { delay_ms, loss_percent }) {
  const [here, there] = [`${name}0`, `${name}1`];
  const remove = () => {
    run('ip', 'link', 'del', here);
    run('ip', 'netns', 'del', name);
  };
  const steps = [
    ['ip', 'netns', 'add', name],
    ['ip', 'link', 'add', here, 'type', 'veth', 'peer', 'name', there],
    ['ip', 'link', 'set', there, 'netns', name],
    ['ip', 'address', 'add', '10.231.7.1/30', 'dev', here],
    ['ip', 'link', 'set', here, 'up'],
    ['ip', '-n', name, 'address', 'add', '10.231.7.2/30', 'dev', there],
    ['ip', '-n', name, 'link', 'set', there, 'up'],
    ['ip', '-n', name, 'link', 'set', 'lo', 'up'],
    ['tc', 'qdisc', 'add', 'dev', here, 'root', 'netem', 'delay', `${delay_ms}ms`, 'loss', `${loss_percent}%`],
    ['tc', '-n', name, 'qdisc', 'add', 'dev', there, 'root', 'netem', 'delay', `${delay_ms}ms`, 'loss', `${loss_percent}%`],
  ];
  for (const step of steps) {
    const done = run(...step);
    if (done.status === 0) continue;
    remove();
    return { why: `${step.join(' ')}: ${(done.stderr || String(done.error)).trim()}` };
  }
  return { why: '', inside: '10.231.7.2', enter: ['ip', 'netns', 'exec', name], remove };
}
