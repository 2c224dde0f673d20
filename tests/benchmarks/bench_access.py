"""Who gets in: every URL and operation, in every role, with every method.

matrix_leaks: tries in which a role got in that `tests/access.toml` does not let in. `matrix_shut`:
tries in which one that should was turned away. `matrix_tries`: how many there were.
"""

from __future__ import annotations

from tests.benchmarks.bench_faults import database


def main() -> None:
    with database():
        from django.db import transaction

        from tests import test_access as matrix
        from tests.world import ROLES, make_world

        with transaction.atomic():
            world = make_world()
            for role, user in world.people.items():
                if user is not None:
                    world.sessions[role] = matrix.session_of(user)
            tries = leaks = shut = 0
            for name in matrix.NAMES:
                row = dict(matrix.ROWS.get(name, {}))
                path = matrix.address(name, row.get("ids", {}), world)
                data = {k: world.ids.get(v, v) for k, v in row.get("data", {}).items()}
                wanted = {
                    m: sorted(matrix.roles_of(row.get(m.lower(), ""))) for m in matrix.METHODS
                }
                for method in matrix.methods_of(name, wanted):
                    for role in ROLES:
                        inside = matrix.gets_in(world, role, method, path, data)
                        tries += 1
                        if inside and role not in wanted[method]:
                            leaks += 1
                            print(f"  {role} got in: {method} {name}", flush=True)
                        shut += not inside and role in wanted[method]
            transaction.set_rollback(True)
        print(f"figure matrix_tries {tries} requests")
        print(f"figure matrix_shut {shut} requests")
        print(f"figure matrix_leaks {leaks} requests")
