"""A whole scene: the gear, the play and the seed that decides the rest."""

from dataclasses import dataclass, field

from blinkspan.stage.equipment import Camera, Display, Film, Lamp, Room
from blinkspan.stage.play import Action, Game, Presses, World


@dataclass(frozen=True, slots=True)
class Scene:
    """A whole scene; equal scenes make equal takes.

    Raises
    ------
    BadSetting
        A part that cannot be, alone or together with another.
    """

    name: str = "scene"
    seed: int = 1
    camera: Camera = field(default_factory=Camera)
    film: Film = field(default_factory=Film)
    display: Display = field(default_factory=Display)
    game: Game = field(default_factory=Game)
    presses: Presses = field(default_factory=Presses)
    action: Action = field(default_factory=Action)
    world: World = field(default_factory=World)
    lamp: Lamp = field(default_factory=Lamp)
    room: Room = field(default_factory=Room)

    @property
    def refreshes_per_frame(self) -> int:
        """How many refreshes show one game frame."""
        return max(1, round(self.display.refresh_hz / self.game.rate_hz))

    @property
    def game_period_s(self) -> float:
        """From one game tick to the next, in seconds: a whole number of refreshes."""
        return float(self.refreshes_per_frame / self.display.refresh_hz)
