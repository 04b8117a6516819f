"""What does an argument measure? One alias a kind, with its unit inside, on display and its typical range.

`low` and `high` are in the inside unit: what a small plant meets, wide enough for a form and for the tests.
A formula that needs another range overrides it: ``flow: Annotated[Flow, Range(0, 1)]``.
"""

from dataclasses import dataclass
from typing import Annotated, Any

from weirhouse.working import Unit


@dataclass(frozen=True, slots=True)
class Several(Unit):
    """The unit of each of several values given together: a month's readings, the points of a curve."""


Absorbance = Annotated[Any, Unit("1/m", us="1/cm", si="1/cm", low=0.5, high=60.0)]
Acceleration = Annotated[Any, Unit("m/s^2", us="ft/s^2", si="m/s^2", low=9.7, high=9.9)]
Alkalinity = Annotated[Any, Unit("g/m^3", us="mg/L", si="mg/L", low=5.0, high=300.0)]
AluminiumDose = Annotated[Any, Unit("g/m^3", us="mg/L", si="mg/L", low=0.1, high=8.0)]
AmountConcentration = Annotated[Any, Unit("mol/m^3", us="mmol/L", si="mmol/L", low=0.1, high=10.0)]
Area = Annotated[Any, Unit("m^2", us="ft^2", si="m^2", low=0.5, high=500.0)]
AttachmentEfficiency = Annotated[Any, Unit("1", us="1", si="1", low=0.01, high=1.0)]
Breakup = Annotated[Any, Unit("s", us="s", si="s", low=1e-8, high=1e-6)]
Concentration = Annotated[Any, Unit("g/m^3", us="mg/L", si="mg/L", low=0.01, high=300.0)]
Conductivity = Annotated[Any, Unit("S/m", us="uS/cm", si="uS/cm", low=0.001, high=0.2)]
ContactTime = Annotated[Any, Unit("g*s/m^3", us="mg*min/L", si="mg*min/L", low=60.0, high=60000.0)]
Cost = Annotated[Any, Unit("1", us="1", si="1", low=0.01, high=1e5)]
Density = Annotated[Any, Unit("kg/m^3", us="lb/gal", si="kg/L", low=700.0, high=4300.0)]
Diameter = Annotated[Any, Unit("m", us="in", si="mm", low=0.01, high=1.0)]
Diffusivity = Annotated[Any, Unit("m^2/s", us="m^2/s", si="m^2/s", low=1e-14, high=1e-11)]
Dose = Annotated[Any, Unit("g/m^3", us="mg/L", si="mg/L", low=0.1, high=100.0)]
Duration = Annotated[Any, Unit("s", us="min", si="min", low=1.0, high=864000.0)]
Energy = Annotated[Any, Unit("J", us="kWh", si="kWh", low=1e4, high=1e10)]
Exponent = Annotated[Any, Unit("1", us="1", si="1", low=0.1, high=6.0)]
FeedRate = Annotated[Any, Unit("m^3/s", us="mL/min", si="mL/min", low=1e-9, high=1e-5)]
FilterCoefficient = Annotated[Any, Unit("1/m", us="1/m", si="1/m", low=0.5, high=20.0)]
FilterRate = Annotated[Any, Unit("m/s", us="gpm/ft^2", si="m/h", low=3e-4, high=5e-3)]
Flow = Annotated[Any, Unit("m^3/s", us="gpm", si="L/s", low=0.0005, high=0.5)]
Fraction = Annotated[Any, Unit("1", us="percent", si="percent", low=0.0, high=1.0)]
GrainDensity = Annotated[Any, Unit("kg/m^3", us="kg/m^3", si="kg/m^3", low=1400.0, high=4300.0)]
GrainFraction = Annotated[Any, Unit("1", us="percent", si="percent", low=0.0, high=1.0)]
GrainSize = Annotated[Any, Unit("m", us="mm", si="mm", low=1e-4, high=3e-3)]
Hamaker = Annotated[Any, Unit("J", us="J", si="J", low=1e-21, high=5e-20)]
Head = Annotated[Any, Unit("m", us="ft", si="m", low=0.01, high=100.0)]
HeadLossRise = Annotated[Any, Unit("m/s", us="ft/h", si="m/h", low=1e-6, high=1e-4)]
HeadPerFlowSquared = Annotated[Any, Unit("s^2/m^5", us="ft/gpm^2", si="m/(L/s)^2", low=1e3, high=1e6)]
HeatConductivity = Annotated[Any, Unit("W/(m*K)", us="W/(m*K)", si="W/(m*K)", low=0.02, high=1.0)]
HeatPerLength = Annotated[Any, Unit("W/m", us="W/ft", si="W/m", low=1.0, high=100.0)]
HeatTransfer = Annotated[Any, Unit("W/(m^2*K)", us="Btu/(h*ft^2*degF)", si="W/(m^2*K)", low=5.0, high=40.0)]
Index = Annotated[Any, Unit("1", us="1", si="1", low=-5.0, high=15.0)]
IonicStrength = Annotated[Any, Unit("mol/m^3", us="mmol/L", si="mmol/L", low=0.1, high=50.0)]
KinematicViscosity = Annotated[Any, Unit("m^2/s", us="ft^2/s", si="m^2/s", low=6.5e-7, high=1.8e-6)]
Length = Annotated[Any, Unit("m", us="ft", si="m", low=0.1, high=1000.0)]
LogRemoval = Annotated[Any, Unit("log", us="log", si="log", low=0.0, high=6.0)]
Mass = Annotated[Any, Unit("kg", us="lb", si="kg", low=0.01, high=1e4)]
MassRate = Annotated[Any, Unit("kg/s", us="lb/day", si="kg/day", low=1e-7, high=0.05)]
Number = Annotated[Any, Unit("1", us="1", si="1", low=1.0, high=10.0)]
ParticleSize = Annotated[Any, Unit("m", us="um", si="um", low=1e-6, high=1e-3)]
PH = Annotated[Any, Unit("pH", us="pH", si="pH", low=6.0, high=9.5)]
PK = Annotated[Any, Unit("1", us="1", si="1", low=5.0, high=16.0)]
Porosity = Annotated[Any, Unit("1", us="1", si="1", low=0.35, high=0.6)]
Power = Annotated[Any, Unit("W", us="hp", si="kW", low=1.0, high=1e5)]
Pressure = Annotated[Any, Unit("Pa", us="psi", si="kPa", low=1e2, high=1e6)]
Price = Annotated[Any, Unit("1/J", us="1/kWh", si="1/kWh", low=1e-8, high=2e-7)]
Rate = Annotated[Any, Unit("1/s", us="1/h", si="1/h", low=1e-7, high=1e-2)]
Ratio = Annotated[Any, Unit("1", us="1", si="1", low=0.01, high=10.0)]
Residual = Annotated[Any, Unit("g/m^3", us="mg/L", si="mg/L", low=0.1, high=4.0)]
SecondOrderRate = Annotated[Any, Unit("m^3/(mol*s)", us="L/(mol*day)", si="L/(mol*day)", low=1e-12, high=1e-7)]
SolidsPerTurbidity = Annotated[Any, Unit("g/(m^3*NTU)", us="mg/(L*NTU)", si="mg/(L*NTU)", low=0.7, high=2.2)]
SpecificAbsorbance = Annotated[Any, Unit("m^2/g", us="L/(mg*m)", si="L/(mg*m)", low=0.5, high=8.0)]
SpecificSurface = Annotated[Any, Unit("1/m", us="1/m", si="1/m", low=100.0, high=20000.0)]
SpecificWeight = Annotated[Any, Unit("N/m^3", us="lbf/ft^3", si="kN/m^3", low=9600.0, high=9820.0)]
Speed = Annotated[Any, Unit("1/s", us="rpm", si="rpm", low=0.1, high=60.0)]
Sphericity = Annotated[Any, Unit("1", us="1", si="1", low=0.45, high=1.0)]
SurfaceRate = Annotated[Any, Unit("m/s", us="gal/day/ft^2", si="m/h", low=1e-5, high=5e-3)]
Temperature = Annotated[Any, Unit("degC", us="degF", si="degC", low=0.0, high=40.0)]
ThermalResistance = Annotated[Any, Unit("K*m/W", us="K*m/W", si="K*m/W", low=0.2, high=10.0)]
TimeSpread = Annotated[Any, Unit("s^2", us="min^2", si="min^2", low=1e4, high=1e5)]
Turbidity = Annotated[Any, Unit("NTU", us="NTU", si="NTU", low=0.01, high=1000.0)]
TurbidityRise = Annotated[Any, Unit("NTU/s", us="NTU/h", si="NTU/h", low=1e-7, high=0.05)]
Uniformity = Annotated[Any, Unit("1", us="1", si="1", low=1.1, high=1.9)]
Velocity = Annotated[Any, Unit("m/s", us="ft/s", si="m/s", low=1e-4, high=5.0)]
VelocityGradient = Annotated[Any, Unit("1/s", us="1/s", si="1/s", low=5.0, high=1500.0)]
Viscosity = Annotated[Any, Unit("Pa*s", us="Pa*s", si="Pa*s", low=6e-4, high=1.8e-3)]
Volume = Annotated[Any, Unit("m^3", us="gal", si="m^3", low=0.01, high=2000.0)]
VolumePerArea = Annotated[Any, Unit("m", us="gal/ft^2", si="m^3/m^2", low=1.0, high=1000.0)]
WeirLoading = Annotated[Any, Unit("m^2/s", us="gpm/ft", si="m^3/h/m", low=1e-4, high=0.02)]
