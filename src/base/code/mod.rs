//! The codes of problems and of deliveries: every word that the interface has for what is wrong.
//!
//! Owns: [`Code`], what each means ([`meaning`]), and the reason of a delivery ([`reason`]).
//! In: a word that was written or kept. Out: its code, or nothing. Never: decides by the beginning of a
//! word; renames or removes one (`fixtures/codes.txt` only grows).

pub mod meaning;
pub mod reason;

use crate::base::code::meaning::{
    Answer, CAUTION, CONTENDED, DOWN, ERROR, KEPT, LATER, LET_PASS, LOOKED, MEND, Meaning,
    NOT_JSON, NOTE, OTHER_CONTENT, OTHER_PERSON, OURS, PROMPT, PURGED, VERSION, VERSION_ORDER,
};
use std::fmt;

/// Makes of one table the codes, their words and their meanings.
macro_rules! codes {
    ($($variant:ident $word:literal $meaning:ident $says:literal,)*) => {
        /// A code: a stable word, part of the interface.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Code {
            $(#[doc = concat!("The code `", $word, "`.")] $variant,)*
        }

        impl Code {
            /// Every code, in the order of the words.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];

            /// Its word; what was answered with a status has that behind it, as [`reason::Reason`]
            /// writes it.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }

            /// What it means to those who act on it.
            pub const fn meaning(self) -> Meaning {
                match self {
                    $(Self::$variant => $meaning,)*
                }
            }

            /// What it says, in a sentence; of a delivery also what can be done.
            pub const fn says(self) -> &'static str {
                match self {
                    $(Self::$variant => $says,)*
                }
            }
        }
    };
}

impl Code {
    /// The code of a word.
    pub fn of(word: &str) -> Option<Self> {
        // The table stands in the order of the words.
        let place = Self::ALL.binary_search_by(|code| code.word().cmp(word));
        place.ok().and_then(|place| Self::ALL.get(place)).copied()
    }

    /// True for the reason of a delivery.
    pub fn is_of_a_delivery(self) -> bool {
        self.meaning().answer == Answer::OfDelivery
    }

    /// True for a prompt to look, which no problem is by itself.
    pub fn is_a_prompt(self) -> bool {
        self.meaning().severity.is_none() && !self.is_of_a_delivery()
    }

    /// True for what a server answered with a status, which is written behind the word.
    pub const fn has_status(self) -> bool {
        matches!(self, Self::TargetAnswer | Self::TargetRefused)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(self.word())
    }
}

// One row a code: name, word, meaning, sentence; in the order of the words.
codes! {
    AmountDecimals "amount.decimals" ERROR "an amount has more decimals than what is counted has",
    AmountNegative "amount.negative" ERROR "an amount is less than nothing",
    AmountUnusual "amount.unusual" CAUTION "an amount is beyond what is usually seen",
    AngleFiner "angle.finer" NOTE "an angle is finer than its instrument shows",
    AngleImpossible "angle.impossible" ERROR "an angle is one that no joint has",
    AngleRadians "angle.radians" CAUTION "an angle looks as if it were written in radians",
    AngleUnusual "angle.unusual" CAUTION "an angle is beyond what is usually seen",
    AnswersDoubtful "answers.doubtful" CAUTION
        "results need an answer of a person who could not give one",
    AttemptCutOff "attempt.cut-off" LATER
        "the attempt took too long and was cut off before its lease ended",
    CalfGrown "calf.grown" PROMPT
        "a calf measures more than last time by more than two measurings may differ",
    CalfLarger "calf.larger" PROMPT "one calf measures more than the other by more than the limit",
    CalfSignNew "calf.sign-new" PROMPT "a calf is newly swollen, warm or tender",
    CheckBaseOnly "check.base-only" NOTE
        "a resource carries no measure of ours: it was held against FHIR alone",
    CircumstancesBoth "circumstances.both" ERROR "a list has entries and is said to have none",
    CircumstancesMuscle "circumstances.muscle" ERROR "an injection names a muscle that no list has",
    CircumstancesTime "circumstances.time" ERROR "a circumstance lies after the examination",
    CodeDisplay "code.display" NOTE "a code is shown by another name than the tables have",
    CodeFirstUnknown "code.first-unknown" NOTE "the first code is in no table",
    CodeMissing "code.missing" NOTE "a code that the tables name is missing",
    CodeWiderFirst "code.wider-first" ERROR "a code that says less than the measure stands first",
    ComparedTwice "compared.twice" ERROR "how something felt beside the other side is said twice",
    ComparedUntested "compared.untested" ERROR "what was not tested is compared",
    ConfirmationIdle "confirmation.idle" ERROR "a confirmation confirms no caution that stands",
    ConfirmationTime "confirmation.time" ERROR
        "a confirmation was given before the caution could be seen, or after the signing",
    ConsentRefused "consent.refused" CAUTION "there are findings though consent was not given",
    CorrectionSilent "correction.silent" ERROR
        "a later version does not speak of what the version before said",
    CsvCells "csv.cells" ERROR "a row has another number of cells than the header has columns",
    CsvColumnMissing "csv.column-missing" ERROR "a column that every finding needs is missing",
    CsvColumnTwice "csv.column-twice" ERROR "a column stands twice",
    CsvColumnUnknown "csv.column-unknown" ERROR "a column is no field of a session document",
    CsvComma "csv.comma" ERROR "a number has a decimal comma",
    CsvDay "csv.day" ERROR "a spreadsheet turned a cell into a day",
    CsvEmpty "csv.empty" ERROR "a sheet has no row",
    CsvExponent "csv.exponent" ERROR "a spreadsheet turned a number into one with an exponent",
    CsvFormula "csv.formula" ERROR "a cell holds a formula or its fault",
    CsvLarge "csv.large" ERROR "the findings of one session are more than a session says",
    CsvLost "csv.lost" ERROR "rows of a session are not accounted for",
    CsvMark "csv.mark" NOTE "a byte order mark stood before the header and was taken off",
    CsvPlusLost "csv.plus-lost" NOTE "grades of a sheet may have lost their plus sign",
    CsvQuote "csv.quote" ERROR "a quotation mark of a sheet is not closed, or text stands behind it",
    CsvRead "csv.read" ERROR "a sheet cannot be read",
    CsvRow "csv.row" ERROR "a row is too long: a quotation mark may be missing",
    CsvSeparator "csv.separator" ERROR "a header is separated by something else than commas",
    CsvSessionDiffers "csv.session-differs" ERROR
        "the rows of one session say different things of it",
    CsvSessionMissing "csv.session-missing" ERROR
        "nothing says to which session and person the findings belong",
    CsvSessionReturns "csv.session-returns" ERROR "the rows of a session do not stand together",
    CsvSessionTwice "csv.session-twice" ERROR
        "the session stands in the sheet and in a document beside it",
    CsvSessions "csv.sessions" ERROR "a request holds rows of several sessions",
    CsvTruth "csv.truth" ERROR "a cell is neither true nor false",
    CsvUtf8 "csv.utf8" ERROR "a sheet is not UTF-8",
    CsvWhole "csv.whole" ERROR "a cell is no whole number",
    CsvWide "csv.wide" ERROR "a row of a sheet has more cells than any sheet",
    DocumentKey "document.key" OURS "a document holds, and its session cannot be told",
    DocumentMark "document.mark" NOTE "a byte order mark before a document was passed over",
    DocumentSchema "document.schema" OURS "our schema does not compile",
    DocumentTypes "document.types" OURS "a document passes the schema and does not fit the types",
    DuplicateFound "duplicate.found" MEND
        "the record server holds several resources under one identifier: its keepers have to \
         merge them, then release",
    EarlierNotKnown "earlier.not-known" NOTE "an earlier session says something that the tables no longer know",
    EarlierNotTold "earlier.not-told" NOTE "a record server did not tell of earlier sessions",
    EarlierUnread "earlier.unread" NOTE "a record server holds an earlier finding that cannot be read",
    EncodeCorrection "encode.correction" ERROR
        "a later version is encoded without the versions before it",
    EncounterEnd "encounter.end" ERROR "a stay at the start has no stay at the end",
    EncounterInError "encounter.in-error" MEND
        "the record server marks the encounter as entered in error: correct the session by a \
         further version that names another, or have the mark looked at, then release",
    EncounterNotFound "encounter.not-found" LET_PASS
        "the record server does not know the encounter exactly once: have it entered there; \
         release names it by its identifier where it is still not known",
    EncounterOtherPerson "encounter.other-person" MEND
        "the encounter belongs to another person at the record server: make sure who was \
         examined, then correct the session by a further version",
    EncounterSame "encounter.same" ERROR "the stays at the start and at the end are one",
    EndFeelBound "end-feel.bound" CAUTION
        "an end feel is given though the end of range was not reached",
    EndingBecause "ending.because" ERROR
        "a reason for stopping is missing, or stands where nothing was stopped",
    EndingBound "ending.bound" ERROR "a bound and the way in which the movement ended do not agree",
    EndingMissing "ending.missing" ERROR "a result does not say how the movement ended",
    EndingStray "ending.stray" ERROR "a result that has no end says how it ended",
    EntryTooLarge "entry.too-large" VERSION
        "one resource alone is larger than most_bytes lets through: raise it where the server \
         takes more, then release",
    ExaminerUnsaid "examiner.unsaid" NOTE "several examined and a finding does not say who",
    FhirApp1 "fhir.app-1" ERROR
        "app-1: Appointment.participant has none of the elements of which it needs one",
    FhirApp2 "fhir.app-2" ERROR "app-2: an element of Appointment stands without one that it needs",
    FhirApr1 "fhir.apr-1" ERROR
        "apr-1: AppointmentResponse has none of the elements of which it needs one",
    FhirAtt1 "fhir.att-1" ERROR "att-1: an element of Attachment stands without one that it needs",
    FhirAttachmentSize "fhir.attachment-size" ERROR "Attachment: its size is not that of its data",
    FhirBdl1 "fhir.bdl-1" ERROR "bdl-1: a Bundle has a total that its type does not have",
    FhirBdl10 "fhir.bdl-10" ERROR "bdl-10: a document has no time at which it was put together",
    FhirBdl11 "fhir.bdl-11" ERROR "bdl-11: the first entry of a document is no Composition",
    FhirBdl12 "fhir.bdl-12" ERROR "bdl-12: the first entry of a message is no MessageHeader",
    FhirBdl2 "fhir.bdl-2" ERROR "bdl-2: an entry has a search in a Bundle that is no searchset",
    FhirBdl3 "fhir.bdl-3" ERROR
        "bdl-3: an entry has a request where its Bundle has none, or lacks it",
    FhirBdl4 "fhir.bdl-4" ERROR
        "bdl-4: an entry has a response where its Bundle has none, or lacks it",
    FhirBdl5 "fhir.bdl-5" ERROR "bdl-5: an entry has no resource, no request and no response",
    FhirBdl7 "fhir.bdl-7" ERROR "bdl-7: two entries have one address",
    FhirBdl8 "fhir.bdl-8" ERROR "bdl-8: the address of an entry names a version",
    FhirBdl9 "fhir.bdl-9" ERROR "bdl-9: a document has no identifier with system and value",
    FhirCes1 "fhir.ces-1" ERROR
        "ces-1: CoverageEligibilityResponse.insurance.item has not exactly one of several \
         elements",
    FhirCmp1 "fhir.cmp-1" ERROR
        "cmp-1: Composition.section has none of the elements of which it needs one",
    FhirCmp2 "fhir.cmp-2" ERROR
        "cmp-2: Composition.section has several elements of which it takes one",
    FhirCode "fhir.code" ERROR "a code is none of the value set that its element requires",
    FhirCon1 "fhir.con-1" ERROR
        "con-1: Condition.stage has none of the elements of which it needs one",
    FhirCon2 "fhir.con-2" ERROR
        "con-2: Condition.evidence has none of the elements of which it needs one",
    FhirCpb1 "fhir.cpb-1" ERROR
        "cpb-1: CapabilityStatement has none of the elements of which it needs one",
    FhirCpb2 "fhir.cpb-2" ERROR
        "cpb-2: CapabilityStatement has none of the elements of which it needs one",
    FhirCpl3 "fhir.cpl-3" ERROR
        "cpl-3: CarePlan.activity has several elements of which it takes one",
    FhirCpt2 "fhir.cpt-2" ERROR
        "cpt-2: an element of ContactPoint stands without one that it needs",
    FhirDecimal "fhir.decimal" NOTE
        "a decimal is written with an exponent, which some servers refuse",
    FhirDom2 "fhir.dom-2" ERROR "dom-2: a contained resource contains another",
    FhirDom3 "fhir.dom-3" ERROR "dom-3: nothing refers to a contained resource",
    FhirDom4 "fhir.dom-4" ERROR "dom-4: a contained resource has a version or a time of its own",
    FhirDom5 "fhir.dom-5" ERROR "dom-5: a contained resource has a security label",
    FhirDrq1 "fhir.drq-1" ERROR
        "drq-1: DataRequirement.codeFilter has not exactly one of several elements",
    FhirDrq2 "fhir.drq-2" ERROR
        "drq-2: DataRequirement.dateFilter has not exactly one of several elements",
    FhirEld1 "fhir.eld-1" ERROR
        "eld-1: ElementDefinition.slicing has none of the elements of which it needs one",
    FhirEld22 "fhir.eld-22" ERROR
        "eld-22: an element of ElementDefinition stands without one that it needs",
    FhirEld8 "fhir.eld-8" ERROR
        "eld-8: ElementDefinition has several elements of which it takes one",
    FhirEle1 "fhir.ele-1" ERROR "ele-1: an element has an id and nothing else",
    FhirElement "fhir.element" ERROR "a key is no element of its type",
    FhirEmpty "fhir.empty" ERROR "an array, an object or a string is empty",
    FhirExp1 "fhir.exp-1" ERROR "exp-1: Expression has none of the elements of which it needs one",
    FhirExt1 "fhir.ext-1" ERROR "ext-1: Extension has not exactly one of several elements",
    FhirFhs1 "fhir.fhs-1" ERROR
        "fhs-1: FamilyMemberHistory has several elements of which it takes one",
    FhirFhs2 "fhir.fhs-2" ERROR
        "fhs-2: an element of FamilyMemberHistory stands without one that it needs",
    FhirForm "fhir.form" ERROR "a primitive value has another form than its type",
    FhirFullUrl "fhir.full-url" ERROR
        "the address of an entry is missing, or does not fit its resource",
    FhirGol1 "fhir.gol-1" ERROR "gol-1: an element of Goal.target stands without one that it needs",
    FhirIdentifier "fhir.identifier" ERROR
        "an identifier whose system is that of URIs is no whole URI",
    FhirImm1 "fhir.imm-1" ERROR
        "imm-1: Immunization.education has none of the elements of which it needs one",
    FhirImr1 "fhir.imr-1" ERROR
        "imr-1: ImmunizationRecommendation.recommendation has none of the elements of which it \
         needs one",
    FhirInv1 "fhir.inv-1" ERROR
        "inv-1: Parameters.parameter, TestReport.setup.action has not exactly one of several \
         elements",
    FhirInv2 "fhir.inv-2" ERROR
        "inv-2: TestReport.test.action has not exactly one of several elements",
    FhirIpn1 "fhir.ipn-1" ERROR
        "ipn-1: InsurancePlan has none of the elements of which it needs one",
    FhirLst1 "fhir.lst-1" ERROR "lst-1: List has several elements of which it takes one",
    FhirMad1 "fhir.mad-1" ERROR
        "mad-1: MedicationAdministration.dosage has none of the elements of which it needs one",
    FhirMsq5 "fhir.msq-5" ERROR
        "msq-5: an element of MolecularSequence.referenceSeq stands without one that it needs",
    FhirMsq6 "fhir.msq-6" ERROR
        "msq-6: MolecularSequence.referenceSeq has not exactly one of several elements",
    FhirNarrative "fhir.narrative" ERROR "a narrative is no div of XHTML",
    FhirNull "fhir.null" ERROR "null stands where it means nothing",
    FhirObs3 "fhir.obs-3" ERROR "obs-3: a reference range has neither low nor high nor text",
    FhirObs6 "fhir.obs-6" ERROR "obs-6: an Observation has a value and a reason for its absence",
    FhirObs7 "fhir.obs-7" ERROR "obs-7: a component has the code and a value of its Observation",
    FhirOneValue "fhir.one-value" ERROR "a choice has several values",
    FhirOpd1 "fhir.opd-1" ERROR
        "opd-1: OperationDefinition.parameter has none of the elements of which it needs one",
    FhirOrg1 "fhir.org-1" ERROR
        "org-1: Organization has none of the elements of which it needs one",
    FhirPat1 "fhir.pat-1" ERROR
        "pat-1: Patient.contact has none of the elements of which it needs one",
    FhirPer1 "fhir.per-1" ERROR "per-1: a period ends before it starts",
    FhirPpc1 "fhir.ppc-1" ERROR "ppc-1: Consent has none of the elements of which it needs one",
    FhirPrr1 "fhir.prr-1" ERROR
        "prr-1: an element of ServiceRequest stands without one that it needs",
    FhirQrs1 "fhir.qrs-1" ERROR
        "qrs-1: QuestionnaireResponse.item has several elements of which it takes one",
    FhirQty3 "fhir.qty-3" ERROR "qty-3: a unit code has no system",
    FhirQuantity "fhir.quantity" ERROR
        "a special quantity, such as an Age, lacks what makes it one",
    FhirQue11 "fhir.que-11" ERROR
        "que-11: Questionnaire.item has several elements of which it takes one",
    FhirQue4 "fhir.que-4" ERROR
        "que-4: Questionnaire.item has several elements of which it takes one",
    FhirRat1 "fhir.rat-1" ERROR "rat-1: a ratio has only one of its numbers",
    FhirRef1 "fhir.ref-1" ERROR "ref-1: a reference leads to nothing contained here",
    FhirReference "fhir.reference" ERROR
        "a reference leads to a type that its element does not take",
    FhirRequired "fhir.required" ERROR "an element that R4 requires is missing",
    FhirResourceType "fhir.resource-type" ERROR "an object is no resource of R4",
    FhirRng2 "fhir.rng-2" ERROR "rng-2: a range goes from high down to low",
    FhirRqg1 "fhir.rqg-1" ERROR
        "rqg-1: RequestGroup.action has not exactly one of several elements",
    FhirSampledData "fhir.sampled-data" ERROR "SampledData: a point of its data is none",
    FhirSdf2 "fhir.sdf-2" ERROR
        "sdf-2: StructureDefinition.mapping has none of the elements of which it needs one",
    FhirSdf6 "fhir.sdf-6" ERROR
        "sdf-6: StructureDefinition has none of the elements of which it needs one",
    FhirSev1 "fhir.sev-1" ERROR
        "sev-1: AuditEvent.entity has several elements of which it takes one",
    FhirSmp1 "fhir.smp-1" ERROR
        "smp-1: an element of StructureMap.group.rule.target stands without one that it needs",
    FhirSmp2 "fhir.smp-2" ERROR
        "smp-2: an element of StructureMap.group.rule.target stands without one that it needs",
    FhirSpd1 "fhir.spd-1" ERROR
        "spd-1: an element of SearchParameter stands without one that it needs",
    FhirSqty1 "fhir.sqty-1" ERROR "sqty-1: a quantity has a comparator where it has none",
    FhirStatus "fhir.status" ERROR "a status is none of an Observation",
    FhirTim1 "fhir.tim-1" ERROR
        "tim-1: an element of Timing.repeat stands without one that it needs",
    FhirTim10 "fhir.tim-10" ERROR
        "tim-10: Timing.repeat has several elements of which it takes one",
    FhirTim2 "fhir.tim-2" ERROR
        "tim-2: an element of Timing.repeat stands without one that it needs",
    FhirTim4 "fhir.tim-4" ERROR "tim-4: a duration is below nought",
    FhirTim5 "fhir.tim-5" ERROR "tim-5: a period is below nought",
    FhirTim6 "fhir.tim-6" ERROR
        "tim-6: an element of Timing.repeat stands without one that it needs",
    FhirTim7 "fhir.tim-7" ERROR
        "tim-7: an element of Timing.repeat stands without one that it needs",
    FhirTim8 "fhir.tim-8" ERROR
        "tim-8: an element of Timing.repeat stands without one that it needs",
    FhirTim9 "fhir.tim-9" ERROR "tim-9: an offset stands without an event that it counts from",
    FhirTime "fhir.time" ERROR "a day or time is none of FHIR",
    FhirTrd1 "fhir.trd-1" ERROR
        "trd-1: TriggerDefinition has several elements of which it takes one",
    FhirTrd2 "fhir.trd-2" ERROR
        "trd-2: an element of TriggerDefinition stands without one that it needs",
    FhirTst1 "fhir.tst-1" ERROR
        "tst-1: TestScript.setup.action has not exactly one of several elements",
    FhirTst2 "fhir.tst-2" ERROR
        "tst-2: TestScript.test.action has not exactly one of several elements",
    FhirTxt1 "fhir.txt-1" ERROR "txt-1: a narrative holds an element or attribute that it may not",
    FhirTxt2 "fhir.txt-2" ERROR "txt-2: a narrative says nothing",
    FhirType "fhir.type" ERROR "a value is of another JSON type than its element",
    FhirVsd1 "fhir.vsd-1" ERROR
        "vsd-1: ValueSet.compose.include has none of the elements of which it needs one",
    FhirVsd10 "fhir.vsd-10" ERROR
        "vsd-10: an element of ValueSet.expansion.contains stands without one that it needs",
    FhirVsd2 "fhir.vsd-2" ERROR
        "vsd-2: an element of ValueSet.compose.include stands without one that it needs",
    FhirVsd3 "fhir.vsd-3" ERROR
        "vsd-3: ValueSet.compose.include has several elements of which it takes one",
    FhirVsd6 "fhir.vsd-6" ERROR
        "vsd-6: ValueSet.expansion.contains has none of the elements of which it needs one",
    FieldChoice "field.choice" ERROR "a field has none of its words",
    FieldEmpty "field.empty" ERROR "a field or a list is empty",
    FieldForm "field.form" ERROR "a field has another form than asked",
    FieldMissing "field.missing" ERROR "a field that is needed is missing",
    FieldNewer "field.newer" ERROR "a field needs a later form of the document",
    FieldType "field.type" ERROR "a field is of another JSON type",
    FieldUnknown "field.unknown" ERROR "a field is none of the session document",
    FieldValue "field.value" ERROR "a field breaks another rule of the schema",
    FileUnread "file.unread" ERROR "a file that was named cannot be read",
    FindingsUnsaid "findings.unsaid" ERROR "nothing was found and nothing says why",
    GoalState "goal.state" ERROR "the state of a goal was seen after the signing",
    GoalTargetPassed "goal.target-passed" NOTE
        "the day by which a goal was to be reached has passed",
    GradeHalf "grade.half" ERROR "a grade of the modified Ashworth scale is written 1.5",
    GradeVersion "grade.version" ERROR "a grade is of another version of its scale than declared",
    GuardRealDocument "guard.real-document" KEPT
        "the session is not marked as test data and this target is for tests: nothing was sent; \
         drop it, or correct the purpose of the target and release",
    GuardTestDocument "guard.test-document" KEPT
        "the session is marked as test data and this target is in production: nothing was sent; \
         drop it, or correct the purpose of the target and release",
    GuardTestPerson "guard.test-person" KEPT
        "the record server marks this person as test data and this target is in production: \
         nothing was sent; drop it, or have the mark looked at",
    HandlingOverdue "handling.overdue" CAUTION "the review date of a step of handling has passed",
    HeldChangedSince "held.changed-since" LET_PASS
        "somebody changed it at the record server since it was delivered: look at both, then \
         release to put the correction in its place, or drop",
    HeldOtherContent "held.other-content" LET_PASS
        "the record server holds other content under the same identifier: look at both; release \
         leaves it as it is there",
    HeldOtherPerson "held.other-person" MEND
        "the record server holds it for another person: withdraw the session and send a new one",
    IdForm "id.form" OURS "an identity passes the schema and is no UUID",
    InstrumentBusy "instrument.busy" LATER "another worker is creating the same instrument",
    InstrumentMissing "instrument.missing" ERROR
        "it is not said with which instrument was measured",
    InstrumentStray "instrument.stray" ERROR "an instrument is named where none was used",
    JsonDeep "json.deep" NOT_JSON "JSON nests deeper than is read",
    JsonKeyTwice "json.key-twice" NOT_JSON "a key stands twice in one object",
    JsonLarge "json.large" NOT_JSON "a document has more bytes than a session says",
    JsonMany "json.many" NOT_JSON "JSON holds more values than are read, or an object more members",
    JsonNumber "json.number" NOT_JSON "a number is too large to be read",
    JsonSyntax "json.syntax" NOT_JSON "a text is not JSON",
    JsonUtf8 "json.utf8" NOT_JSON "a text is not UTF-8",
    ListLong "list.long" ERROR "a list or an object has more in it than is read",
    ListTwice "list.twice" ERROR "a list has an entry twice",
    MeasureOpen "measure.open" ERROR "a measure leaves open where or how it was taken",
    MeasureUnknown "measure.unknown" ERROR "a measure is none that can be entered",
    MovementUnknown "movement.unknown" ERROR
        "a precaution names a movement that its site does not have",
    NeighbourJoint "neighbour.joint" ERROR "a joint is not the neighbouring joint of the measure",
    NeighbourMissing "neighbour.missing" ERROR "the position of the neighbouring joint is missing",
    NeighbourStray "neighbour.stray" ERROR "a neighbouring joint is named where none matters",
    NotTestedPrecaution "not-tested.precaution" ERROR
        "a finding was left out for a precaution that does not stand",
    NotationLetter "notation.letter" ERROR
        "the letter before three numbers and their directions do not agree",
    NotationMeasure "notation.measure" ERROR
        "three numbers are given of a measure that is no plane",
    NotationOrder "notation.order" ERROR "an order of three numbers names no two directions",
    NotationPlane "notation.plane" ERROR "two directions do not lie in one plane",
    NotationText "notation.text" ERROR "a text is not three plain numbers from neutral zero",
    NotationUnordered "notation.unordered" ERROR
        "three numbers are given without the order of their directions",
    NumberDigits "number.digits" ERROR "a number has more digits than can be kept exactly",
    NumberForm "number.form" ERROR "a number is no plain decimal number",
    OutcomeBoth "outcome.both" ERROR "a finding has a value and says that it was not tested",
    OutcomeEnding "outcome.ending" ERROR "what was not tested says how it ended",
    OutcomeMissing "outcome.missing" ERROR
        "a finding has neither a value nor a reason why it was not tested",
    PainRisen "pain.risen" PROMPT "pain after treatment is higher than before by the limit or more",
    PartOne "part.one" ERROR "a part of a finding says nothing, or two things at once",
    PartStray "part.stray" ERROR "a part belongs to something that was not there",
    PartUnknown "part.unknown" ERROR "a part is none of its measure",
    PersonBirthDate "person.birth-date" MEND
        "the birth date differs: correct the document or the record, then release",
    PersonBirthDateMissing "person.birth-date-missing" LET_PASS
        "the record server holds no birth date to compare with: make sure who it is, then \
         release",
    PersonFamilyName "person.family-name" LET_PASS
        "the family name differs: make sure who it is, then release",
    PersonInactive "person.inactive" MEND "the record of this person is marked as not in use",
    PersonNotFound "person.not-found" MEND "the record server knows nobody by this identifier",
    PersonReplaced "person.replaced" MEND "the record of this person was replaced by another",
    PersonSeveral "person.several" MEND "the record server knows several people by this identifier",
    PersonUnreadable "person.unreadable" MEND
        "the record server's answer about the person cannot be read",
    PractitionerNotFound "practitioner.not-found" LET_PASS
        "the record server does not know a performer exactly once: have them entered there; \
         release names them by their identifier where they are still not known",
    PrecautionAngle "precaution.angle" ERROR
        "a precaution has a movement and an angle where its limit has none, or lacks them",
    PrecautionCarried "precaution.carried" NOTE "a precaution of an earlier session is carried on",
    PrecautionDays "precaution.days" ERROR "the days of a precaution are out of order",
    PrecautionForbids "precaution.forbids" CAUTION "a result stands where a precaution forbids it",
    PrecautionLifted "precaution.lifted" ERROR
        "the status of a precaution and whoever lifted it do not agree",
    PrecautionNew "precaution.new" PROMPT "a precaution stands that no session before stated",
    PrecautionOverdue "precaution.overdue" CAUTION "the review date of a precaution has passed",
    PrecautionsBoth "precautions.both" ERROR "precautions are listed and none is said to be known",
    PrecautionsStillActive "precautions.still-active" ERROR
        "none is said to be known, and an earlier precaution was never lifted",
    PrecautionsUnsaid "precautions.unsaid" ERROR "nothing is said about precautions",
    ProblemsMore "problems.more" NOTE "more problems were found than are listed",
    PromptRaised "prompt.raised" NOTE "a finding raises a prompt to look",
    RangeActiveBeyondPassive "range.active-beyond-passive" CAUTION
        "an active range is beyond the passive one by more than the limit",
    RangeNoArc "range.no-arc" CAUTION "two directions leave no movement between them",
    ReadBackFailed "read-back.failed" LOOKED
        "it was sent, but could not be read back yet; it is looked for again",
    ReadBackMissing "read-back.missing" LOOKED
        "it was sent, but could not be read back yet; it is looked for again",
    RecordJson "record.json" OURS "a resource of ours does not serialise",
    RecordNewer "record.newer" LATER
        "what is kept of the session was written by a newer release: a node of that release takes it, or \
         this one after its upgrade",
    RecordReference "record.reference" OURS "a reference of ours leads to nothing in the record",
    RecordTwice "record.twice" OURS "an entry stands twice in our record",
    RecordUnreadable "record.unreadable" KEPT
        "what is kept of the session does not read: its words name the row; put it right from a copy of \
         the store, or report this",
    ReferenceInstrument "reference.instrument" ERROR
        "an instrument is named that the document does not list",
    ReferencePerformer "reference.performer" ERROR
        "a person is named who is none of the performers",
    RouteLeft "route.left" NOTE "a target has an earlier version and gets no further one",
    RouteNone "route.none" ERROR "no route takes the session",
    ScoreRange "score.range" ERROR "a score is no whole number of its scale",
    SensationProtectiveAbsent "sensation.protective-absent" PROMPT
        "pinprick or the 10 gram filament is not felt",
    SensationTemperatureAbsent "sensation.temperature-absent" PROMPT
        "warm and cold are not told apart",
    SessionContended "session.contended" CONTENDED
        "others changed what is known of the person each time the document was to be kept",
    SessionOtherContent "session.other-content" OTHER_CONTENT
        "the version was accepted before with other content",
    SessionOtherPerson "session.other-person" OTHER_PERSON
        "the version before belongs to another person",
    SessionPurged "session.purged" PURGED "the content of the session was purged",
    SessionVersion "session.version" VERSION_ORDER "another version comes next",
    ShoulderPast "shoulder.past" CAUTION
        "the more affected shoulder is raised past the limit with no finding of its scapula",
    SiteSide "site.side" ERROR "a side is none of the site",
    SiteSidesDiffer "site.sides-differ" ERROR "codes of one Observation name different sides",
    SiteUnknown "site.unknown" ERROR "a site is none of the tables",
    StretchCatch "stretch.catch" ERROR "what is said of the catch and its angle do not agree",
    StretchCatchAtZero "stretch.catch-at-zero" CAUTION
        "a catch was felt, and the grade of the same muscle is 0",
    StretchCatchBeyondEnd "stretch.catch-beyond-end" CAUTION
        "the catch lies past the end of the slow stretch",
    StretchMissing "stretch.missing" ERROR "the speed of a stretch is missing",
    StretchOrder "stretch.order" CAUTION "the fast stretch is not faster than the slow one",
    StretchQuality "stretch.quality" ERROR
        "the quality of a stretch is missing, or does not fit its catch",
    StretchQualityVersion "stretch.quality-version" ERROR
        "the version of the quality is missing, or stands without a quality",
    StretchSpeed "stretch.speed" ERROR "a stretch was done at another speed than its measure",
    StretchVelocity "stretch.velocity" CAUTION "a velocity is faster than a hand stretches",
    TargetAnswer "target.answer" DOWN "the record server could not take it now",
    TargetAnswerTooLarge "target.answer-too-large" DOWN "the record server answered with more than is read (32 MiB, or a million values), so nobody knows what it says; it is asked again",
    TargetAsBatch "target.as-batch" LOOKED
        "the record server took a transaction apart; it is looked for, and what is missing is \
         sent again: set mode to batch, so that nothing is expected to be whole",
    TargetNoAnswer "target.no-answer" DOWN
        "the answer was lost; it is looked for before anything is sent again",
    TargetRefused "target.refused" VERSION
        "the record server refused the content: correct it by a further version",
    TargetSecret "target.secret" DOWN
        "a file with a secret or a header cannot be read, or others than its owner and group \
         may read it",
    TargetSignIn "target.sign-in" DOWN "the record server did not accept the sign-in",
    TargetTokenInsecure "target.token-insecure" DOWN
        "tokens would be asked for in the clear while the record server is reached by TLS",
    TargetTokenKey "target.token-key" DOWN
        "the key of the sign-in cannot be read or used, or everybody may read it",
    TargetTokenRefused "target.token-refused" DOWN "the authorization server gives us no token",
    TargetTokenUndiscovered "target.token-undiscovered" DOWN
        "the record server does not say where tokens are given",
    TargetTokenUnreachable "target.token-unreachable" DOWN
        "the authorization server cannot be reached",
    TargetTokenUnreadable "target.token-unreadable" DOWN
        "what the authorization server answers is no token",
    TargetUnreachable "target.unreachable" DOWN "the record server cannot be reached",
    TextControl "text.control" ERROR "a text holds a control character",
    TextLong "text.long" ERROR "a text is longer than a million characters",
    TextOverride "text.override" ERROR
        "a text holds a character that turns the order of reading round",
    TimeCalendar "time.calendar" ERROR "a day or a time does not exist",
    TimeCrosses "time.crosses" NOTE "the end lies on another day or under another offset than the start",
    TimeFuture "time.future" ERROR "a time lies in the future",
    TimeOrder "time.order" ERROR "two times are in the wrong order",
    ToldPrompt "told.prompt" ERROR "what was passed on names a prompt that there is not",
    ToldTime "told.time" ERROR "something was passed on after the signing",
    ToneRisen "tone.risen" PROMPT "a grade of tone is higher than last time by the limit or more",
    TraceFileHeader "trace-file.header" ERROR "the first line of a trace file names other columns",
    TraceFileName "trace-file.name" ERROR "a trace names no file beside its document",
    TraceFileRead "trace-file.read" ERROR "a trace file cannot be read",
    TraceFileRow "trace-file.row" ERROR "a row of a trace file is no time and angle",
    TraceFileRows "trace-file.rows" ERROR "a trace file has more samples than one stretch",
    TraceAccepted "trace.accepted" ERROR
        "a result of a trace was accepted before it was made, or after the signing",
    TraceAngle "trace.angle" ERROR "angles of a trace are beyond what a joint has",
    TraceDiffers "trace.differs" NOTE "what was felt and what was computed differ",
    TraceDirection "trace.direction" CAUTION
        "the angle of a trace runs in the direction in which the muscle shortens",
    TraceFew "trace.few" ERROR "a trace has too few samples, or too far apart",
    TraceFile "trace.file" ERROR "a trace names a file where none can be read",
    TraceFinding "trace.finding" ERROR "a trace names a finding that it cannot belong to",
    TraceId "trace.id" ERROR "a trace has an identity that something else has",
    TraceMeasure "trace.measure" ERROR "a trace is of something that is no stretch",
    TraceNotDeterminable "trace.not-determinable" NOTE "a trace does not tell what was asked of it",
    TraceNothingAccepted "trace.nothing-accepted" ERROR
        "a result is accepted that was not computed",
    TraceOrder "trace.order" ERROR "the times of a trace do not increase",
    TracePositive "trace.positive" ERROR
        "the direction in which the angle of a trace grows is none of its plane",
    TraceResampled "trace.resampled" NOTE "an uneven trace is sent at even times",
    TraceSamples "trace.samples" ERROR "a trace has no samples, or has them twice",
    TraceSize "trace.size" ERROR "a session has more traces, or samples, than are taken",
    TraceSpeed "trace.speed" ERROR "a trace was recorded at another speed than its measure",
    TraceTimes "trace.times" ERROR
        "the times of a trace are missing, doubled, or do not fit its angles",
    TraceUnit "trace.unit" ERROR "the angles of a trace are not in degrees",
    UnitConversion "unit.conversion" ERROR
        "a unit is not converted, because the result would not be exact",
    UnitDimension "unit.dimension" ERROR "a unit is of another dimension than its measure",
    UnitMeasure "unit.measure" ERROR "an Observation is in another unit than its measure",
    UnitMissing "unit.missing" ERROR "a unit is missing",
    UnitUcum "unit.ucum" ERROR "a unit is no UCUM code",
    UnknownTooOften "unknown.too-often" MEND
        "the record server failed many times and nobody knows what it stored: look there, then \
         release",
    ValueDirection "value.direction" ERROR
        "it is not said on which side of neutral a joint is fixed",
    ValueFixedActive "value.fixed-active" ERROR "a joint is said to be fixed by an active movement",
    ValueFixedStopped "value.fixed-stopped" ERROR
        "a joint is said to be fixed by a movement that was stopped",
    ValueImpossible "value.impossible" ERROR "a value is one that its measure cannot have",
    ValueKind "value.kind" ERROR "a value is of another kind than its measure",
    ValueList "value.list" ERROR "a value is no code of the list of its measure",
    ValueNoCatch "value.no-catch" ERROR "no_catch says false",
    ValueOne "value.one" ERROR "a value says nothing, or several things at once",
    ValueRelative "value.relative" ERROR
        "a value is compared with the other side, and there is none",
    ValueSign "value.sign" ERROR "a number carries a sign: lack of a movement, or beyond neutral",
    ValueStray "value.stray" ERROR "a part of a value has no meaning beside the rest",
    VisibilityWindow "visibility.window" LATER
        "its last attempt may still show at the record server; it is looked for",
    VisitFound "visit.found" ERROR "a visit that was refused or not begun has a result",
    WordNewer "word.newer" ERROR "a word needs a later form of the document",
    WordRetired "word.retired" ERROR "a word was retired and records nothing new",
    WordUnknown "word.unknown" ERROR "a word is none of its list",
}

#[cfg(test)]
mod tests {
    use super::Code;

    #[test]
    fn the_table_stands_in_the_order_of_its_words_and_every_word_leads_back() {
        assert!(Code::ALL.is_sorted_by(|one, next| one.word() < next.word()));
        for code in Code::ALL {
            assert_eq!(Code::of(code.word()), Some(*code));
        }
        assert_eq!(Code::of("angle"), None);
        assert_eq!(Code::of("angle.unusual-2"), None);
    }

    #[test]
    fn the_name_of_a_code_is_its_word() {
        for code in Code::ALL {
            let parts = code.word().split(['.', '-']);
            let name: String = parts
                .flat_map(|part| {
                    let mut letters = part.chars();
                    let first = letters.next().map(|letter| letter.to_ascii_uppercase());
                    first.into_iter().chain(letters)
                })
                .collect();

            assert_eq!(format!("{code:?}"), name);
        }
    }
}
