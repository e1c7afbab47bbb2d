"""The elastic girder on its feet: targets' shift, findings at the feet and temperatures in; where it stands and a bolt plan out."""
