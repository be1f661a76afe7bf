"""Work cards and coil profiles: what people write of a job and of an armature."""
