# The public names of headfit, each with its home, for a type checker; __init__.py reads them too.

from .anatomy.arcs import Rules as Rules
from .anatomy.head import Head as Head
from .anatomy.landmarks import Landmarks as Landmarks
from .anatomy.sites import SYSTEMS as SYSTEMS
from .anatomy.sites import Sites as Sites
from .anatomy.sites import place_sites as place_sites
from .anatomy.template import load_template as load_template
from .comparing.compare import compare_marks as compare_marks
from .comparing.comparison import Comparison as Comparison
from .comparing.repeatability import Repeatability as Repeatability
from .comparing.repeatability import compare_sessions as compare_sessions
from .comparing.unnamed_marks import guess_places as guess_places
from .errors import ConvergenceError as ConvergenceError
from .errors import DrawingError as DrawingError
from .errors import FileFormatError as FileFormatError
from .errors import HeadfitError as HeadfitError
from .errors import InputError as InputError
from .errors import LandmarkError as LandmarkError
from .errors import MarksError as MarksError
from .errors import MeshError as MeshError
from .errors import SheetError as SheetError
from .errors import UnitError as UnitError
from .errors import UnknownNameError as UnknownNameError
from .files.marks_files import read_marks as read_marks
from .files.surfaces import read_head as read_head
from .fitting.advice import Advice as Advice
from .fitting.advice import advise as advise
from .fitting.fit import FittedHead as FittedHead
from .fitting.fit import fit_head as fit_head
from .fitting.measures import measure_head as measure_head
from .fitting.spreads import SiteSpreads as SiteSpreads
from .fitting.tape import Tape as Tape
from .marks.marks import Marks as Marks
from .planning.derivations import MeasuredMontage as MeasuredMontage
from .planning.derivations import measure_montage as measure_montage
from .planning.displacement import Displacement as Displacement
from .planning.displacement import displace as displace
from .planning.marking import MarkingPlan as MarkingPlan
from .planning.marking import plan_marking as plan_marking
from .planning.montages import standard_montages as standard_montages
from .planning.obstacles import disc as disc
from .planning.obstacles import polygon as polygon

__version__: str
