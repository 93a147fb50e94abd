package fascicle.judge;

import ca.uhn.fhir.context.FhirContext;
import com.fasterxml.jackson.databind.ObjectMapper;
import com.fasterxml.jackson.databind.node.ArrayNode;
import com.fasterxml.jackson.databind.node.ObjectNode;
import java.io.InputStream;
import java.io.InputStreamReader;
import java.io.Reader;
import java.nio.charset.StandardCharsets;
import java.nio.file.Path;
import java.util.List;
import org.hl7.fhir.r4.model.Bundle;
import org.hl7.fhir.r4.model.ElementDefinition;
import org.hl7.fhir.r4.model.StructureDefinition;

/**
 * Writes what the FHIRPath judge needs of the official R4 definitions, which ship as XML, as JSON.
 *
 * <p>Usage: {@code Definitions FILE}.
 */
public final class Definitions {

    private Definitions() {}

    public static void main(String[] args) throws Exception {
        FhirContext fhir = FhirContext.forR4();
        ObjectMapper json = new ObjectMapper();
        ArrayNode all = json.createArrayNode();
        for (String name : List.of("profiles-types.xml", "profiles-resources.xml")) {
            Bundle bundle;
            try (InputStream in =
                            Definitions.class.getResourceAsStream("/org/hl7/fhir/r4/model/profile/" + name);
                    Reader reader = new InputStreamReader(in, StandardCharsets.UTF_8)) {
                bundle = fhir.newXmlParser().parseResource(Bundle.class, reader);
            }
            for (Bundle.BundleEntryComponent entry : bundle.getEntry()) {
                if (entry.getResource() instanceof StructureDefinition definition
                        && definition.getDerivation() != StructureDefinition.TypeDerivationRule.CONSTRAINT) {
                    all.add(compact(json, definition));
                }
            }
        }
        json.writeValue(Path.of(args[0]).toFile(), all);
    }

    private static ObjectNode compact(ObjectMapper json, StructureDefinition definition) {
        ObjectNode out = json.createObjectNode();
        out.put("type", definition.getType());
        out.put("version", definition.getFhirVersion() == null ? "" : definition.getFhirVersion().toCode());
        ArrayNode elements = out.putArray("elements");
        for (ElementDefinition element : definition.getSnapshot().getElement()) {
            ObjectNode e = elements.addObject();
            e.put("path", element.getPath());
            if (element.hasContentReference()) {
                e.put("contentReference", element.getContentReference());
            }
            ArrayNode types = e.putArray("types");
            element.getType().forEach(t -> types.add(t.getCode()));
            ArrayNode constraints = e.putArray("constraints");
            for (ElementDefinition.ElementDefinitionConstraintComponent c : element.getConstraint()) {
                if (c.getSeverity() == ElementDefinition.ConstraintSeverity.ERROR) {
                    ObjectNode n = constraints.addObject();
                    n.put("key", c.getKey());
                    n.put("human", c.getHuman());
                    n.put("expression", c.getExpression());
                }
            }
        }
        return out;
    }
}
