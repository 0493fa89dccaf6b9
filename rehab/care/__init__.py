"""What should happen to a child: facts, due checks, visits, occlusion, plan, recall. Pure."""
