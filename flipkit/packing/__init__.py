"""How to pack one thing: materials, hands, cushioning, styles, the plan, its drawing and its words."""
