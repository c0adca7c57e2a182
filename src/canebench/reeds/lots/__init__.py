"""How lots turn out: yield, life, spread and cost, beside one another, and when to order again."""
