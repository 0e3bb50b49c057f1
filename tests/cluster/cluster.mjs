// etcd, three Postgres under Patroni and HAProxy in front, each a process of this machine on a port of its own.

import { execFileSync, spawn } from 'node:child_process';
import { chmodSync, mkdirSync, mkdtempSync, openSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

import { ask, binaries, pause } from '../endurance/shop.mjs';

const FIRST_PORT = Number(process.env.CLUSTER_PORT ?? 18140);
const NODES = ['north', 'east', 'south'];
const PATIENCE_MS = 90_000;

const ports = {
  etcd: FIRST_PORT,
  etcdPeer: FIRST_PORT + 1,
  database: FIRST_PORT + 2,
  shop: FIRST_PORT + 3,
  servers: [FIRST_PORT + 4, FIRST_PORT + 5],
  postgres: (nth) => FIRST_PORT + 10 + nth,
  patroni: (nth) => FIRST_PORT + 20 + nth,
};

/// What every shop's own cluster has to say too: README, “More than one machine”, tells why.
const SETTINGS = {
  ttl: 20,
  loop_wait: 3,
  retry_timeout: 6,
  maximum_lag_on_failover: 1048576,
  master_start_timeout: 0,
  synchronous_mode: true,
  synchronous_mode_strict: true,
  postgresql: {
    use_pg_rewind: true,
    parameters: { max_connections: 60, synchronous_commit: 'on', wal_log_hints: 'on' },
  },
};

export class Cluster {
  constructor() {
    this.folder = mkdtempSync(join(tmpdir(), 'pennyweight-cluster-'));
    chmodSync(this.folder, 0o755);
    this.processes = new Map();
    process.on('exit', () => this.killAll());
  }

  /// What the servers are given as DATABASE_URL.
  address = `postgres://postgres@127.0.0.1:${ports.database}/pennyweight`;
  origin = `http://127.0.0.1:${ports.shop}`;
  servers = ports.servers;

  async open() {
    const etcd = `http://127.0.0.1:${ports.etcd}`;
    const peer = `http://127.0.0.1:${ports.etcdPeer}`;
    this.start('etcd', ['etcd', '--name', 'etcd', '--data-dir', join(this.folder, 'etcd'), '--listen-client-urls', etcd, '--advertise-client-urls', etcd, '--listen-peer-urls', peer, '--initial-advertise-peer-urls', peer, '--initial-cluster', `etcd=${peer}`]);
    await until('etcd answers', async () => (await ask(etcd, 'GET', '/health')).status === 200);
    NODES.forEach((name, nth) => this.startNode(name, nth));
    await until('the cluster has a leader and a synchronous standby', async () => (await this.roles()).has('sync_standby'));
    execFileSync(join(binaries(), 'psql'), ['-h', '127.0.0.1', '-p', String(ports.postgres(await this.leader())), '-U', 'postgres', '-qc', 'CREATE DATABASE pennyweight']);
    writeFileSync(join(this.folder, 'haproxy.cfg'), proxy());
    this.start('haproxy', ['haproxy', '-db', '-f', join(this.folder, 'haproxy.cfg')]);
    await until('the leader is reached through HAProxy', async () => this.sql('SELECT 1') === '1');
  }

  startNode(name, nth) {
    const file = join(this.folder, `${name}.yml`);
    const home = join(this.folder, name);
    mkdirSync(home, { recursive: true });
    writeFileSync(file, JSON.stringify(node(name, nth, home)));
    if (process.getuid() === 0) execFileSync('chown', ['-R', 'postgres:postgres', home]);
    const asPostgres = process.getuid() === 0 ? ['setpriv', '--reuid', 'postgres', '--regid', 'postgres', '--init-groups'] : [];
    this.start(name, [...asPostgres, 'patroni', file]);
  }

  start(name, [command, ...options]) {
    const log = openSync(join(this.folder, `${name}.log`), 'a');
    const child = spawn(command, options, { cwd: '/', stdio: ['ignore', log, log], detached: true });
    this.processes.set(name, child);
  }

  /// Through HAProxy, as the servers come in.
  sql(text) {
    return execFileSync(join(binaries(), 'psql'), ['-h', '127.0.0.1', '-p', String(ports.database), '-U', 'postgres', '-d', 'postgres', '-Atc', text], { stdio: 'pipe' }).toString().trim();
  }

  /// Which node is what, by Patroni's word.
  async roles() {
    for (const nth of NODES.keys()) {
      const answer = await ask(`http://127.0.0.1:${ports.patroni(nth)}`, 'GET', '/cluster', { timeout: 2000 }).catch(() => null);
      if (answer?.status !== 200) continue;
      const { members } = JSON.parse(answer.body);
      return new Map(members.filter(({ state }) => ['running', 'streaming'].includes(state)).map(({ role, name }) => [role, NODES.indexOf(name)]));
    }
    return new Map();
  }

  async leader() {
    return (await this.roles()).get('leader');
  }

  async healthy() {
    await until('the cluster is whole again', async () => {
      const roles = await this.roles();
      return roles.has('leader') && roles.has('sync_standby') && this.sql('SELECT COUNT(*) FROM pg_stat_replication') === '2';
    });
  }

  /// kill -9 of the leader's Postgres, and of its Patroni too where the whole machine is to be gone. Gives the node.
  async killLeader({ withPatroni }) {
    const nth = await this.leader();
    const postmaster = Number(readFileSync(join(this.folder, NODES[nth], 'data', 'postmaster.pid'), 'utf8').split('\n')[0]);
    const children = execFileSync('ps', ['--ppid', String(postmaster), '-o', 'pid=']).toString().split('\n').map(Number).filter(Boolean);
    if (withPatroni) this.processes.get(NODES[nth]).kill('SIGKILL');
    for (const pid of [postmaster, ...children]) {
      try {
        process.kill(pid, 'SIGKILL');
      } catch {
        // It went with its parent.
      }
    }
    return nth;
  }

  /// The machine that was gone comes back, as a follower.
  bringBack(nth) {
    this.startNode(NODES[nth], nth);
  }

  log(name) {
    return readFileSync(join(this.folder, `${name}.log`), 'utf8');
  }

  killAll() {
    for (const child of this.processes.values()) {
      try {
        process.kill(-child.pid, 'SIGKILL');
      } catch {
        // It is gone already.
      }
    }
    this.processes.clear();
    // Postgres left the group of its Patroni.
    for (const name of NODES) {
      try {
        process.kill(Number(readFileSync(join(this.folder, name, 'data', 'postmaster.pid'), 'utf8').split('\n')[0]), 'SIGKILL');
      } catch {
        // It never came up, or is gone.
      }
    }
    if (!process.env.KEEP_CLUSTER) rmSync(this.folder, { recursive: true, force: true, maxRetries: 5 });
  }
}

/// JSON is YAML.
function node(name, nth, home) {
  const trusted = ['local all all trust', 'host all all 127.0.0.1/32 trust', 'host replication all 127.0.0.1/32 trust'];
  return {
    scope: 'shop',
    name,
    restapi: { listen: `127.0.0.1:${ports.patroni(nth)}`, connect_address: `127.0.0.1:${ports.patroni(nth)}` },
    etcd3: { host: `127.0.0.1:${ports.etcd}` },
    bootstrap: { dcs: SETTINGS, initdb: [{ encoding: 'UTF8' }, { locale: 'C' }, 'data-checksums'], pg_hba: trusted },
    postgresql: {
      listen: `127.0.0.1:${ports.postgres(nth)}`,
      connect_address: `127.0.0.1:${ports.postgres(nth)}`,
      data_dir: join(home, 'data'),
      bin_dir: binaries(),
      pgpass: join(home, 'pgpass'),
      pg_hba: trusted,
      authentication: { superuser: { username: 'postgres' }, replication: { username: 'postgres' }, rewind: { username: 'postgres' } },
      parameters: { unix_socket_directories: home },
    },
    watchdog: { mode: 'off' },
  };
}

/// One door to whichever Postgres leads, and one to whichever server answers.
function proxy() {
  const nodes = NODES.map((name, nth) => `  server ${name} 127.0.0.1:${ports.postgres(nth)} check port ${ports.patroni(nth)}`);
  const servers = ports.servers.map((port, nth) => `  server box${nth + 1} 127.0.0.1:${port} check`);
  return `global
  maxconn 1000
defaults
  timeout connect 3s
  timeout check 2s
  default-server inter 1s fall 2 rise 1
listen database
  bind 127.0.0.1:${ports.database}
  mode tcp
  timeout client 1h
  timeout server 1h
  option httpchk OPTIONS /primary
  http-check expect status 200
  default-server inter 1s fall 2 rise 1 on-marked-down shutdown-sessions
${nodes.join('\n')}
listen shop
  bind 127.0.0.1:${ports.shop}
  mode http
  timeout client 1h
  timeout server 1h
  timeout http-request 30s
  option httpchk GET /healthz
  option forwardfor
  option redispatch
  retries 3
${servers.join('\n')}
`;
}

async function until(what, holds) {
  const last = Date.now() + PATIENCE_MS;
  let why;
  while (!(await holds().catch((error) => void (why = error)))) {
    if (Date.now() > last) throw new Error(`it did not come to be that ${what}`, { cause: why });
    await pause(200);
  }
}
