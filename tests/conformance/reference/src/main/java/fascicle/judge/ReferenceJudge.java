package fascicle.judge;

import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.context.support.DefaultProfileValidationSupport;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.validation.FhirValidator;
import ca.uhn.fhir.validation.SingleValidationMessage;
import ca.uhn.fhir.validation.ValidationOptions;
import ca.uhn.fhir.validation.ValidationResult;
import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.node.ObjectNode;
import java.io.IOException;
import java.io.PrintStream;
import java.nio.charset.StandardCharsets;
import java.nio.file.Files;
import java.nio.file.Path;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;
import java.util.stream.Stream;
import org.hl7.fhir.common.hapi.validation.support.CommonCodeSystemsTerminologyService;
import org.hl7.fhir.common.hapi.validation.support.InMemoryTerminologyServerValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.PrePopulatedValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.SnapshotGeneratingValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.UnknownCodeSystemWarningValidationSupport;
import org.hl7.fhir.common.hapi.validation.support.ValidationSupportChain;
import org.hl7.fhir.common.hapi.validation.validator.FhirDefaultPolicyAdvisor;
import org.hl7.fhir.common.hapi.validation.validator.FhirInstanceValidator;
import org.hl7.fhir.instance.model.api.IBaseResource;
import org.hl7.fhir.r5.utils.validation.IResourceValidator;
import org.hl7.fhir.r5.utils.validation.constants.BestPracticeWarningLevel;
import org.hl7.fhir.r5.utils.validation.constants.ReferenceValidationPolicy;

/**
 * The reference validation engine over files, without a network.
 *
 * <p>Usage: {@code ReferenceJudge [--profiles DIR] [--list FILE] [FILE_OR_DIR...]}; the list has one
 * path a line. One JSON line a message, then a summary line. Every {@code .json} file is one resource; every line of an {@code .ndjson} file is
 * one resource, named {@code FILE:LINE}.
 */
public final class ReferenceJudge {

    private static final ObjectMapper JSON = new ObjectMapper();

    private ReferenceJudge() {}

    public static void main(String[] args) throws Exception {
        Path profiles = null;
        List<Path> inputs = new ArrayList<>();
        for (int i = 0; i < args.length; i++) {
            if (args[i].equals("--profiles")) {
                profiles = Path.of(args[++i]);
            } else if (args[i].equals("--list")) {
                for (String line : Files.readAllLines(Path.of(args[++i]), StandardCharsets.UTF_8)) {
                    inputs.add(Path.of(line));
                }
            } else {
                inputs.addAll(walk(Path.of(args[i])));
            }
        }
        FhirContext fhir = FhirContext.forR4();
        List<ObjectNode> unread = new ArrayList<>();
        FhirValidator validator = validator(fhir, profiles, unread);
        List<Item> items = new ArrayList<>();
        for (Path input : inputs) {
            if (input.toString().endsWith(".ndjson")) {
                List<String> lines = Files.readAllLines(input, StandardCharsets.UTF_8);
                for (int n = 0; n < lines.size(); n++) {
                    if (!lines.get(n).isBlank()) {
                        items.add(new Item(input + ":" + (n + 1), lines.get(n)));
                    }
                }
            } else {
                items.add(new Item(input.toString(), Files.readString(input)));
            }
        }
        // On all cores: the engine makes a validator of its own for each call.
        List<List<ObjectNode>> judged =
                items.parallelStream().map(item -> judge(validator, item)).toList();

        PrintStream out = new PrintStream(System.out, false, StandardCharsets.UTF_8);
        Map<String, Integer> counts = new TreeMap<>();
        for (List<ObjectNode> messages : Stream.concat(Stream.of(unread), judged.stream()).toList()) {
            for (ObjectNode message : messages) {
                counts.merge(message.get("severity").asText(), 1, Integer::sum);
                out.println(JSON.writeValueAsString(message));
            }
        }
        ObjectNode summary = JSON.createObjectNode();
        summary.put("summary", true);
        summary.put("files", inputs.size());
        summary.put("resources", items.size());
        for (String severity : List.of("fatal", "error", "warning", "information")) {
            summary.put(severity, counts.getOrDefault(severity, 0));
        }
        out.println(JSON.writeValueAsString(summary));
        out.flush();
        System.exit(0);
    }

    /** One resource: what it is called, and its text. */
    private record Item(String name, String text) {}

    private static FhirValidator validator(
            FhirContext fhir, Path profiles, List<ObjectNode> unread) throws IOException {
        PrePopulatedValidationSupport own = new PrePopulatedValidationSupport(fhir);
        if (profiles != null && Files.isDirectory(profiles)) {
            for (Path file : walk(profiles)) {
                if (!file.toString().endsWith(".json")) {
                    continue;
                }
                String text = Files.readString(file);
                // The index and the manifest of a package are no resources.
                if (!JSON.readTree(text).hasNonNull("resourceType")) {
                    continue;
                }
                try {
                    IBaseResource resource = fhir.newJsonParser().parseResource(text);
                    switch (fhir.getResourceType(resource)) {
                        case "StructureDefinition", "ValueSet", "CodeSystem", "SearchParameter" ->
                                own.addResource(resource);
                        default -> {
                            // Not needed to judge others by.
                        }
                    }
                } catch (RuntimeException e) {
                    unread.add(message(file.toString(), "error", "", "unreadable-profile", e.getMessage()));
                }
            }
        }
        UnknownCodeSystemWarningValidationSupport unknown =
                new UnknownCodeSystemWarningValidationSupport(fhir);
        unknown.setNonExistentCodeSystemSeverity(IValidationSupport.IssueSeverity.WARNING);
        ValidationSupportChain chain =
                new ValidationSupportChain(
                        new DefaultProfileValidationSupport(fhir),
                        own,
                        new CommonCodeSystemsTerminologyService(fhir),
                        new InMemoryTerminologyServerValidationSupport(fhir),
                        new SnapshotGeneratingValidationSupport(fhir),
                        unknown);
        // R4 asks that one coding of a concept be in the bound value set (terminologies.html#4.1.6),
        // not all of them: ours stand beside published ones.
        chain.setCodeableConceptValidationSuccessfulIfNotAllCodingsAreValid(true);
        FhirInstanceValidator engine = new FhirInstanceValidator(chain);
        engine.setAnyExtensionsAllowed(false);
        engine.setErrorForUnknownProfiles(true);
        engine.setNoExtensibleWarnings(false);
        engine.setNoTerminologyChecks(false);
        // What a reference points to is not at hand; its type is read from the reference itself.
        engine.setAssumeValidRestReferences(true);
        engine.setValidatorResourceFetcher(new NothingFetched());
        engine.setValidatorPolicyAdvisor(
                new FhirDefaultPolicyAdvisor() {
                    @Override
                    public ReferenceValidationPolicy policyForReference(
                            IResourceValidator validator,
                            Object context,
                            String path,
                            String url,
                            ReferenceDestinationType destination) {
                        return ReferenceValidationPolicy.CHECK_TYPE_IF_EXISTS;
                    }
                });
        engine.setBestPracticeWarningLevel(BestPracticeWarningLevel.Warning);
        FhirValidator validator = fhir.newValidator();
        validator.registerValidatorModule(engine);
        return validator;
    }

    private static List<ObjectNode> judge(FhirValidator validator, Item item) {
        ValidationResult result;
        try {
            result = validator.validateWithResult(item.text(), new ValidationOptions());
        } catch (RuntimeException e) {
            // The engine refuses text that is no JSON by throwing. Anything else that it throws is its
            // own failure and no verdict.
            String id = isJson(item.text()) ? "engine-failed" : "unreadable";
            return List.of(message(item.name(), "error", "", id, String.valueOf(e.getMessage())));
        }
        List<ObjectNode> messages = new ArrayList<>();
        for (SingleValidationMessage m : result.getMessages()) {
            messages.add(
                    message(
                            item.name(),
                            m.getSeverity() == null ? "error" : m.getSeverity().getCode(),
                            m.getLocationString(),
                            m.getMessageId(),
                            m.getMessage()));
        }
        return messages;
    }

    private static boolean isJson(String text) {
        try {
            return JSON.readTree(text).isObject();
        } catch (IOException e) {
            return false;
        }
    }

    private static ObjectNode message(String file, String severity, String path, String id, String text) {
        ObjectNode line = JSON.createObjectNode();
        line.put("file", file);
        line.put("severity", severity);
        line.put("path", path == null ? "" : path);
        line.put("id", id == null ? "" : id);
        line.put("text", text == null ? "" : text);
        return line;
    }

    private static List<Path> walk(Path start) throws IOException {
        try (Stream<Path> files = Files.walk(start)) {
            return files.filter(Files::isRegularFile)
                    .filter(p -> p.toString().endsWith(".json") || p.toString().endsWith(".ndjson"))
                    .sorted()
                    .toList();
        }
    }
}
