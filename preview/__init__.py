"""From a plan of LED strips to its light: scene, power, light, looks, handover, window.

Data goes one way. `scene` reads the plan; `power` and `light` compute from it; `looks` turns effects into drives;
`handover` writes files; `window` shows it all. An import only ever points down that list.
"""
