"""Statistical process control: charts, rules, capability, change points, Pareto; numbers in, numbers out."""
